"""How fast the first partial falls.

Conventions
-----------
Rates are in dB/s and positive where the level falls; intervals are 95 %. Times are
seconds after the onset. Levels are dB re a full-scale sine.

Limits
------
Needs `LEAST_SPAN_S` of note after `START_S`. Two polarisations whose beat is longer than the
note cannot be told from a decay; the interval of a short note is wide for that reason.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from buzzscan.measures.beating import Components, resolve
from buzzscan.measures.first_partial import Followed
from buzzscan.measures.level_slope import (
    LEAST_OVER_NOISE_DB,
    LEAST_SPAN_S,
    PAIR_RATIO,
    SIGMAS_95,
    START_S,
    DecayFit,
    SeenFall,
    not_told,
    refused,
    straight_line,
)
from buzzscan.measures.slow_beats import BeatFit, fit_through_beats
from buzzscan.measures.tracking import Track

__all__ = ["decay_of_first_partial", "fit_decay", "is_told"]

FloatArray = npt.NDArray[np.float64]

_LEAST_RIPPLE_DB = 0.02
"""A level that one pair explains so closely holds nothing else that matters."""
_FRAMES_PER_INDEPENDENT = 3.0
"""Frames of a track that share samples: half of `HOPS` for noise, more for what the room does."""
_ROOM_S, _LONG_S = 0.12, 0.7
"""In a long note, components are looked for once the room's build-up is over."""
_MOST_ERROR_RATIO = 0.17
"""Standard error over the rate: the interval is then ±33 %, about the change of decay that is
heard (Tolonen and Järveläinen: −25 and +40 % of the time constant are not)."""
_LEAST_RATE_DB_PER_S = 5.0
"""A T60 of 12 s: what rings longer is known well enough by that."""
_USUAL_DB_PER_S, _USUAL_DB_PER_PERIOD = 4.0, 1.0 / 30.0
"""Rate of a plain string: within a factor of two on simulated guitars, an upper end on real
ones."""
_MUCH, _PLAINLY = 1.5, 2.0
"""Times the usual rate that the error may be held against, and that is fast beyond doubt."""
_LEAST_TO_RESOLVE_S = 0.4
"""In a shorter track, the room passes for a second polarisation."""
_COMPONENTS_ERROR = 2.0
"""Components' errors over those by their covariance, which knows of no room."""
_END_SIGMAS, _END_DB = 4.0, 3.0
"""What leaves the line so far at the very end is the hand or the next note."""
_STOP_DB, _STOP_S = 6.0, 0.05
"""What falls by so much in so short a time for good (120 dB/s, a T60 of half a second) is stopped
by a hand or a fret: strings fall by 5–40 dB/s, in the deepest dead spots by some 80 (own
measurements on real and simulated notes)."""
_HUM_DECAY_PER_S = 0.4
"""A string whose T60 is above 17 s does not stand on the mains frequency by chance."""
_HUM_OFF_HZ = 0.5


def fit_decay(track: Track, *, room: FloatArray | None = None) -> DecayFit:
    """Return the slope of the track's level above the noise, beats and hum taken out.

    Where the level ripples, the track is also resolved into exponentials; those of the string
    are added as powers, so that their beat is gone, and what is left of mains hum is dropped.

    Parameters
    ----------
    track
        Of the first partial.
    room
        What the take's other notes say of the room, from `room_of_take`.
    """
    free = _before_stop(track)
    if len(free.times_s) < len(track.times_s) and float(np.ptp(free.times_s)) < LEAST_SPAN_S:
        return not_told(
            f"stopped within {free.times_s[-1] + _STOP_S:.2f} s of its onset: "
            "too soon to see it fall by itself"
        )
    track = _without_end(free)
    level = _level_of(track, room)
    if level is None:
        return refused(track.times_s, track.powers, track.noise)
    rate, error = _with_components(level, track)
    error = float(np.hypot(error, PAIR_RATIO * rate))
    return DecayFit(
        rate_db_per_s=rate,
        low_db_per_s=rate - SIGMAS_95 * error,
        high_db_per_s=rate + SIGMAS_95 * error,
        error_db_per_s=error,
        reason="",
        seen=SeenFall(
            rate_db_per_s=rate,
            error_db_per_s=error,
            room_db=level.early_db,
            early_log_odds=level.early_log_odds,
        ),
    )


def _with_components(level: BeatFit, track: Track) -> tuple[float, float]:
    """Return rate and error of the level, and of its components where they explain it better."""
    span_s = float(np.ptp(track.times_s))
    if level.ripple < _LEAST_RIPPLE_DB or span_s < _LEAST_TO_RESOLVE_S:
        return level.fall, level.error
    late = track.times_s > START_S + (_ROOM_S if span_s > _LONG_S else -1.0)
    found = resolve(track.times_s[late], track.values[late], noise=track.noise)
    if found is None or _envelope_ripple_db(found, track) > level.ripple:
        return level.fall, level.error
    return _joined(level, found, track)


def _level_of(track: Track, room: FloatArray | None) -> BeatFit | None:
    """Return the fall of the part of a track that stands over the noise, None if none does."""
    use = np.ones(len(track.times_s), bool)
    fit: BeatFit | None = None
    for _ in range(3):
        if use.sum() < 3 or np.ptp(track.times_s[use]) < 0.5 * LEAST_SPAN_S:
            return None
        fit = fit_through_beats(
            track.times_s[use],
            track.powers[use],
            noise=track.noise,
            frequency_hz=track.frequency_hz,
            early_from_s=START_S,
            per_independent=_FRAMES_PER_INDEPENDENT,
            room=room,
        )
        if fit is None:
            return None
        line = fit.at_zero - fit.fall * track.times_s
        now = line - 10.0 * np.log10(track.noise + 1e-30) > LEAST_OVER_NOISE_DB
        if (now == use).all():
            break
        use = now
    return fit


def _before_stop(track: Track) -> Track:
    """Return the part of a track before it is stopped: drops at once, and never comes back.

    A beat drops as fast, and comes back.
    """
    level = 10.0 * np.log10(track.powers + track.noise + 1e-30)
    later = max(round(_STOP_S / track.hop_s), 1)
    still_to_come = np.maximum.accumulate(level[::-1])[::-1]
    drops = level[:-later] - still_to_come[later:] >= _STOP_DB
    return _first_of(track, int(np.argmax(drops)) + 1) if drops.any() else track


def _first_of(track: Track, n: int) -> Track:
    return replace(track, times_s=track.times_s[:n], values=track.values[:n])


def _without_end(track: Track) -> Track:
    """Return the track without the frames at its end that leave its own line for good."""
    n = len(track.times_s)
    level = 10.0 * np.log10(track.powers + track.noise + 1e-30)
    for _ in range(2):
        if n < 8:
            break
        t, y = track.times_s[:n], level[:n]
        head = slice(0, max(3 * n // 4, 6))
        slope, offset = straight_line(t[head], y[head])
        miss = y - offset - slope * t
        scale = max(_END_SIGMAS * float(np.std(miss[head])), _END_DB)
        off = np.abs(miss) > scale
        keep = n - int(np.argmin(off[::-1])) if not off.all() else n
        if keep == n or keep < 6:
            break
        n = keep - 1
    return _first_of(track, n)


def _rate_of(found: Components, track: Track, hum: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Return the slope of the string's summed powers, no cross terms, and its standard error."""
    t = track.times_s

    def rate(ln_amplitudes: FloatArray, decays: FloatArray) -> float:
        exponents = 2.0 * (ln_amplitudes - decays * t[:, None])
        powers = np.exp(exponents[:, ~hum]).sum(axis=1)
        floor = track.noise * 10.0 ** (LEAST_OVER_NOISE_DB / 10.0)
        use = powers > min(floor, float(np.sort(powers)[-3]))
        span = t[use] - t[use].mean()
        return -float(span @ (10.0 * np.log10(powers[use]))) / float(span @ span)

    x = np.concatenate([np.log(np.abs(found.amplitudes)), found.decays_per_s])
    n = len(x) // 2
    here = rate(x[:n], x[n:])
    steps = 1e-4 * np.eye(2 * n)
    slope = np.array([(rate((x + d)[:n], (x + d)[n:]) - here) / 1e-4 for d in steps])
    # σ is minus the real part of an exponent; circular errors put half into the real part.
    slope[n:] *= -1.0
    variance = 0.5 * float(np.real(slope @ found.covariance @ slope))
    return here, float(np.sqrt(max(variance, 0.0)))


def _envelope_ripple_db(found: Components, track: Track) -> float:
    """Return the rms difference between the levels of a track and of its components.

    A pitch that glides also looks like two components, but its level is a straight line.
    """
    t = track.times_s
    exponents = -found.decays_per_s + 2j * np.pi * found.detunings_hz
    model = np.exp(exponents * t[:, None]) @ found.amplitudes
    over = track.powers > track.noise * 10.0 ** (LEAST_OVER_NOISE_DB / 10.0)
    off = 10.0 * np.log10((np.abs(model[over]) ** 2 + 1e-30) / (track.powers[over] + 1e-30))
    return float(np.sqrt(np.mean(off**2))) if over.any() else np.inf


def _is_hum(found: Components, track: Track) -> npt.NDArray[np.bool_]:
    """Return which components are mains hum: steady, on a mains harmonic, not the strongest."""
    at_hz = track.frequency_hz + found.detunings_hz
    hum = (np.abs(found.decays_per_s) < _HUM_DECAY_PER_S) & (_off_mains_hz(at_hz) < _HUM_OFF_HZ)
    hum[0] = False
    return np.asarray(hum)


def _off_mains_hz(frequency_hz: FloatArray) -> FloatArray:
    """Return how far each frequency lies from a harmonic of 50 or 60 Hz."""
    off = [np.abs(frequency_hz - m * np.round(frequency_hz / m)) for m in (50.0, 60.0)]
    return np.asarray(np.minimum(*off))


def _joined(level: BeatFit, found: Components, track: Track) -> tuple[float, float]:
    """Return the rate of level and components, each by what it is worth, and its error."""
    rate, error = _rate_of(found, track, _is_hum(found, track))
    error *= _COMPONENTS_ERROR
    share = level.error**2 / (level.error**2 + error**2 + 1e-12)
    return level.fall + share * (rate - level.fall), float(np.sqrt(share) * error)


def is_told(rate_db_per_s: float, error_db_per_s: float, pitch_hz: float) -> bool:
    """Return whether a rate is known well enough to be said.

    Held against the rate itself, errors that make it seem fast would pass and those that make
    it seem slow would not: what is told would be too fast on the whole.
    """
    usual = _USUAL_DB_PER_S + _USUAL_DB_PER_PERIOD * pitch_hz
    if rate_db_per_s - SIGMAS_95 * error_db_per_s < _PLAINLY * usual:
        rate_db_per_s = min(rate_db_per_s, _MUCH * usual)
    return error_db_per_s <= _MOST_ERROR_RATIO * max(rate_db_per_s, _LEAST_RATE_DB_PER_S)


def decay_of_first_partial(followed: Followed, *, room: FloatArray | None = None) -> DecayFit:
    """Return the rate of the first partial from `START_S` on.

    Parameters
    ----------
    followed
        The first partial over the note.
    room
        What the take's other notes say of the room, from `room_of_take`.
    """
    track = followed.track
    if track is None:
        return not_told(followed.reason)
    decay = fit_decay(track, room=room)
    if followed.reason:
        return not_told(followed.reason, seen=decay.seen)
    if decay.rate_db_per_s is None:
        return decay
    if not is_told(decay.rate_db_per_s, decay.error_db_per_s, track.frequency_hz):
        doubt = SIGMAS_95 * decay.error_db_per_s
        return not_told(
            f"level falls {decay.rate_db_per_s:.0f} ± {doubt:.0f} dB/s: too short or too unsteady",
            seen=decay.seen,
        )
    return decay
