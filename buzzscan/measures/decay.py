"""How fast the first partial falls.

Conventions
-----------
Rates are in dB/s and positive where the level falls; intervals are about 90 %. Times are
seconds after the onset. Levels are dB re a full-scale sine.

Limits
------
Needs `LEAST_SPAN_S` of note after `START_S`. Two polarisations whose beat is longer than the
note cannot be told from a decay; the interval of a short note is wide for that reason.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from buzzscan.measures.beating import Components, resolve
from buzzscan.measures.tracking import HOPS, Track, track_partial
from buzzscan.partials import PartialFit
from buzzscan.units import hz_to_cents

__all__ = [
    "LEAST_SPAN_S",
    "START_S",
    "DecayFit",
    "decay_of_first_partial",
    "fit_decay",
    "fit_level_slope",
    "not_told",
]

FloatArray = npt.NDArray[np.float64]

START_S = 0.08
"""The decay is the slope from here on: the attack and the pick are over."""
LEAST_SPAN_S = 0.1
_LEAST_OVER_NOISE_DB = 6.0
_DB = 20.0 / float(np.log(10.0))
_MODEL_DB = 0.03
"""Ripple of a level that is never undercut: the leakage of the other partials."""
_SIGMAS_90 = 1.645
_EARLY_DB, _EARLY_S = 0.6, 0.08
"""Doubt about the level at `START_S` and the time in which it fades: the end of the note before,
still sounding in the room, and the room's own build-up (a T60 of 0.5 s fades so)."""
_MOST_EARLY_DB = 20.0
_LEAST_SPAN_FOR_EARLY_S = 0.35
"""Four times the fading: then the line shows what the beginning departs from."""
_LEAST_RIPPLE_DB = 0.004
"""A level straighter than this is that of one exponential, whatever its pitch does."""
_RIPPLE_SHARE = 0.4
"""Share of the ripple about a straight line that components may leave unexplained."""
_ROOM_S, _LONG_S = 0.12, 0.7
"""In a long note, components are looked for once the room's build-up is over."""
_ANOTHER_SOUND_CENTS = 40.0
_MOST_ERROR_RATIO = 0.6
"""Standard error over the rate: beyond it the interval holds both no fall and twice the fall."""
_LEAST_RATE_DB_PER_S = 2.0
"""A T60 of 30 s, above any guitar's: rates below it are known well enough by that."""
_PAIR_RATIO = 0.04
"""Two polarisations fall at rates some 10 to 30 per cent apart (common practice, no source);
which share of each is heard is not known."""
_PAIR_DB = 0.15
"""Level that a beat slower than the note may have gained or lost over the note."""
_FULL_BEATS = 3.0
"""That doubt shrinks so far once the beat is resolved."""
_SHARE_OF_CORRECTION = 0.1
_END_SIGMAS, _END_DB = 4.0, 3.0
"""What leaves the line so far at the very end is the hand or the next note."""
_HUM_DECAY_PER_S = 0.4
"""A string whose T60 is above 17 s does not stand on the mains frequency by chance."""
_HUM_OFF_HZ = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class DecayFit:
    """A rate and its interval, or None with the reason; `ripple_db` is the rms about the line."""

    rate_db_per_s: float | None
    low_db_per_s: float | None
    high_db_per_s: float | None
    reason: str
    error_db_per_s: float = 0.0
    ripple_db: float = 0.0


def fit_decay(track: Track) -> DecayFit:
    """Return the slope of the track's level above the noise, beats and hum taken out.

    Where the level ripples, the track is resolved into exponentials; those of the string are
    added as powers, so that their beat is gone, and what is left of mains hum is dropped.
    """
    track = _without_end(track)
    plain = fit_level_slope(
        track.times_s, track.powers, noise=track.noise, frames_per_independent=0.5 * HOPS
    )
    if plain.rate_db_per_s is None or plain.ripple_db < _LEAST_RIPPLE_DB:
        return plain
    long = float(np.ptp(track.times_s)) > _LONG_S
    late = track.times_s > START_S + (_ROOM_S if long else -1.0)
    found = resolve(track.times_s[late], track.values[late], noise=track.noise)
    if found is None or _envelope_ripple_db(found, track) > _RIPPLE_SHARE * plain.ripple_db:
        return plain
    return _joined(plain, found, track)


def _without_end(track: Track) -> Track:
    """Return the track without the frames at its end that leave its own line for good."""
    n = len(track.times_s)
    level = 10.0 * np.log10(track.powers + track.noise + 1e-30)
    for _ in range(2):
        if n < 8:
            break
        t, y = track.times_s[:n], level[:n]
        head = slice(0, max(3 * n // 4, 6))
        slope, offset = np.polyfit(t[head], y[head], 1)
        miss = y - offset - slope * t
        scale = max(_END_SIGMAS * float(np.std(miss[head])), _END_DB)
        off = np.abs(miss) > scale
        keep = n - int(np.argmin(off[::-1])) if not off.all() else n
        if keep == n or keep < 6:
            break
        n = keep - 1
    return replace(track, times_s=track.times_s[:n], values=track.values[:n])


def _rate_of(found: Components, track: Track, hum: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Return the slope of the string's summed powers, no cross terms, and its standard error."""
    t = track.times_s

    def rate(ln_amplitudes: FloatArray, decays: FloatArray) -> float:
        exponents = 2.0 * (ln_amplitudes - decays * t[:, None])
        powers = np.exp(exponents[:, ~hum]).sum(axis=1)
        floor = track.noise * 10.0 ** (_LEAST_OVER_NOISE_DB / 10.0)
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
    over = track.powers > track.noise * 10.0 ** (_LEAST_OVER_NOISE_DB / 10.0)
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


def _joined(plain: DecayFit, found: Components, track: Track) -> DecayFit:
    """Return the plain slope moved towards that of the components, as far as they are sure."""
    assert plain.rate_db_per_s is not None  # noqa: S101 - asked for by the caller
    rate, error = _rate_of(found, track, _is_hum(found, track))
    correction = rate - plain.rate_db_per_s
    # The plain slope is wrong by the correction, or by its own error where that is larger.
    wrong = max(correction**2, plain.error_db_per_s**2)
    share = wrong / (wrong + error**2)
    joined = plain.rate_db_per_s + share * correction
    doubt = _with_polarisations(
        float(np.sqrt(share) * error) + _SHARE_OF_CORRECTION * abs(correction),
        joined,
        _FULL_BEATS * float(np.ptp(track.times_s)),
    )
    return replace(
        plain,
        rate_db_per_s=joined,
        low_db_per_s=joined - _SIGMAS_90 * doubt,
        high_db_per_s=joined + _SIGMAS_90 * doubt,
        error_db_per_s=doubt,
    )


def fit_level_slope(
    times_s: FloatArray,
    powers: FloatArray,
    *,
    noise: float,
    frames_per_independent: float,
) -> DecayFit:
    """Return the slope of a level in dB by weighted least squares, noise taken off.

    Parameters
    ----------
    times_s, powers
        Shape (n,).
    noise
        Mean power of the noise within `powers`.
    frames_per_independent
        Frames that share samples, for the standard error.
    """
    use = np.ones(len(times_s), bool)
    line = _Line(fall=0.0, at_zero=0.0, error=0.0, ripple=0.0)
    for _ in range(4):
        if use.sum() < 3 or np.ptp(times_s[use]) < 0.5 * LEAST_SPAN_S:
            return _refused(times_s, powers, noise)
        t = times_s[use]
        p = np.maximum(powers[use] - noise, 0.05 * noise + 1e-30)
        ratio = noise / p
        var = (0.5 * _DB) ** 2 * (2.0 * ratio + ratio**2) + _MODEL_DB**2
        line = _line(t, 10.0 * np.log10(p), var, frames_per_independent)
        over = line.at_zero - line.fall * times_s - 10.0 * np.log10(noise + 1e-30)
        now = over > _LEAST_OVER_NOISE_DB
        if (now == use).all():
            break
        use = now
    error = _with_polarisations(line.error, line.fall, float(np.ptp(times_s[use])))
    return DecayFit(
        rate_db_per_s=line.fall,
        low_db_per_s=line.fall - _SIGMAS_90 * error,
        high_db_per_s=line.fall + _SIGMAS_90 * error,
        error_db_per_s=error,
        ripple_db=line.ripple,
        reason="",
    )


def _with_polarisations(error: float, rate: float, span_s: float) -> float:
    """Return an error that also holds what two unresolved polarisations leave in doubt."""
    return float(np.sqrt(error**2 + (_PAIR_RATIO * rate) ** 2 + (_PAIR_DB / span_s) ** 2))


def not_told(reason: str) -> DecayFit:
    """Return a decay that is not told, with the reason."""
    return DecayFit(rate_db_per_s=None, low_db_per_s=None, high_db_per_s=None, reason=reason)


def _refused(times_s: FloatArray, powers: FloatArray, noise: float) -> DecayFit:
    over = 10.0 * np.log10((np.median(powers) + 1e-30) / (noise + 1e-30)) if len(powers) else 0.0
    span = float(np.ptp(times_s)) if len(times_s) else 0.0
    return not_told(
        f"level is {over:.0f} dB over the noise, seen for {span:.2f} s; "
        f"need {_LEAST_OVER_NOISE_DB:.0f} dB for {0.5 * LEAST_SPAN_S:.2f} s"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """Fall per second, level at time zero, standard error of the fall, rms about the line."""

    fall: float
    at_zero: float
    error: float
    ripple: float


def _early_db(t: FloatArray, level: FloatArray, var: FloatArray) -> float:
    """Return how far the beginning departs from the line, where the note is long enough."""
    if len(t) < 8 or float(np.ptp(t)) < _LEAST_SPAN_FOR_EARLY_S:
        return _EARLY_DB
    x = np.stack([np.ones(len(t)), t, np.exp(-(t - START_S) / _EARLY_S)], 1)
    weights = 1.0 / np.sqrt(var)
    departure = np.linalg.lstsq(x * weights[:, None], level * weights, rcond=None)[0][2]
    return max(_EARLY_DB, min(abs(float(departure)), _MOST_EARLY_DB))


def _line(
    t: FloatArray, level: FloatArray, var: FloatArray, frames_per_independent: float
) -> _Line:
    """Return the line through a level whose beginning is in doubt.

    Early points weigh less, and what a departure there would do to the slope is in its error.
    """
    early = _early_db(t, level, var) * np.exp(-(t - START_S) / _EARLY_S)
    w = 1.0 / (var + early**2)
    mean_t = float(w @ t) / float(w.sum())
    mean_l = float(w @ level) / float(w.sum())
    bearing = w * (t - mean_t) / float(w @ (t - mean_t) ** 2)
    slope = float(bearing @ level)
    miss = level - mean_l - slope * (t - mean_t)
    free = max(len(t) / frames_per_independent - 2.0, 0.5)
    chi2 = max(float(w @ miss**2) / frames_per_independent / free, 1.0)
    noise = float(bearing**2 @ var) * frames_per_independent * chi2
    return _Line(
        fall=-slope,
        at_zero=mean_l - slope * mean_t,
        error=float(np.sqrt(noise + float(bearing @ early) ** 2)),
        ripple=float(np.sqrt(float(w @ miss**2) / float(w.sum()))),
    )


def decay_of_first_partial(
    samples: npt.NDArray[np.floating],
    fit: PartialFit,
    *,
    sample_rate_hz: float,
    stop_s: float,
) -> DecayFit:
    """Return the rate of the first partial from `START_S` on.

    Parameters
    ----------
    samples
        Mono, shape (n,), from the onset on.
    fit
        The note's partials.
    sample_rate_hz
        Rate of `samples`.
    stop_s
        End of the note.
    """
    reason = _why_no_track(fit, stop_s)
    if reason:
        return not_told(reason)
    track = track_partial(
        samples,
        sample_rate_hz=sample_rate_hz,
        frequency_hz=fit.pitch_hz,
        start_s=START_S,
        stop_s=stop_s,
        noise_db_per_hz=fit.noises_db[0],
    )
    if track is None:
        return not_told(f"note lasts {stop_s:.2f} s: too few periods to see a fall")
    decay = fit_decay(track)
    if decay.rate_db_per_s is None:
        return decay
    if decay.error_db_per_s > _MOST_ERROR_RATIO * max(decay.rate_db_per_s, _LEAST_RATE_DB_PER_S):
        doubt = _SIGMAS_90 * decay.error_db_per_s
        return not_told(
            f"level falls {decay.rate_db_per_s:.0f} ± {doubt:.0f} dB/s: too short or too unsteady"
        )
    return decay


def _why_no_track(fit: PartialFit, stop_s: float) -> str:
    """Return why the first partial cannot be followed, empty if it can."""
    if not fit.numbers or fit.numbers[0] != 1:
        return "first partial is not heard over the noise"
    off = abs(hz_to_cents(fit.frequencies_hz[0], fit.pitch_hz))
    if off > _ANOTHER_SOUND_CENTS:
        return f"another sound {off:.0f} cents away covers the first partial"
    if stop_s - START_S < LEAST_SPAN_S:
        return f"note lasts {stop_s:.2f} s, need {START_S + LEAST_SPAN_S:.2f} s"
    return ""
