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
from buzzscan.partials import PartialFit

__all__ = ["LEAST_SPAN_S", "START_S", "DecayFit", "Track", "fit_decay", "track_partial"]

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

START_S = 0.08
"""The decay is the slope from here on: the attack and the pick are over."""
LEAST_SPAN_S = 0.1
_PERIODS = 3
"""Shortest window in periods: a Hann window of whole periods, three at least, has a null on
every other partial and on zero frequency."""
_WINDOW_OF_SPAN = 0.15
_LONGEST_WINDOW_S = 0.08
_SHORTEST_WINDOW_S = 0.02
_HOPS = 4
"""Hops to a window: a Hann window loses nothing at a quarter of its length."""
_LEAST_OVER_NOISE_DB = 6.0
_DB = 20.0 / float(np.log(10.0))
_MODEL_DB = 0.03
"""Ripple of a level that is never undercut: the leakage of the other partials."""
_SIGMAS_90 = 1.645
_EARLY_DB, _EARLY_S = 0.6, 0.08
"""Doubt about the level at `START_S` and the time in which it fades: the end of the note before,
still sounding in the room, and the room's own build-up (a T60 of 0.5 s fades so)."""
_RIPPLE_SHARE = 0.4
"""Share of the ripple about a straight line that components may leave unexplained."""
_ROOM_S, _LONG_S = 0.12, 0.7
"""In a long note, components are looked for once the room's build-up is over."""
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
class Track:
    """One partial over time.

    Parameters
    ----------
    times_s
        Middles of the windows.
    values
        Amplitude and phase against `frequency_hz`; amplitude 1 is a full-scale sine.
    frequency_hz
        Of the demodulation.
    noise
        Mean square that the noise leaves in `values`.
    window_s
        Length of each window.
    """

    times_s: FloatArray
    values: ComplexArray
    frequency_hz: float
    noise: float
    window_s: float

    @property
    def powers(self) -> FloatArray:
        """Squared amplitudes."""
        return np.asarray(self.values.real**2 + self.values.imag**2)


@dataclass(frozen=True, slots=True, kw_only=True)
class DecayFit:
    """A rate and its interval, or None with the reason; `ripple_db` is the rms about the line."""

    rate_db_per_s: float | None
    low_db_per_s: float | None
    high_db_per_s: float | None
    reason: str
    error_db_per_s: float = 0.0
    ripple_db: float = 0.0


def track_partial(
    samples: npt.NDArray[np.floating],
    *,
    sample_rate_hz: float,
    frequency_hz: float,
    start_s: float,
    stop_s: float,
    noise_db_per_hz: float,
) -> Track | None:
    """Return a partial's amplitude and phase over time, or None if the stretch is too short.

    Parameters
    ----------
    samples
        Mono, shape (n,), from the onset on.
    sample_rate_hz
        Rate of `samples`.
    frequency_hz
        Frequency of the partial.
    start_s, stop_s
        Middle of the first window, and end of the last one.
    noise_db_per_hz
        Noise beside the partial in a band of 1 Hz, dB re a full-scale sine.
    """
    span = stop_s - start_s
    window_s = min(max(_WINDOW_OF_SPAN * span, _SHORTEST_WINDOW_S), _LONGEST_WINDOW_S)
    periods = max(round(window_s * frequency_hz), _PERIODS)
    length = round(periods / frequency_hz * sample_rate_hz)
    hop = max(length // _HOPS, 1)
    first = max(round(start_s * sample_rate_hz) - length // 2, 0)
    last = min(round(stop_s * sample_rate_hz), len(samples))
    n_frames = (last - first - length) // hop + 1
    if n_frames < 3:
        return None
    piece = np.ascontiguousarray(samples[first : first + (n_frames - 1) * hop + length], np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(piece, length)[::hop]
    m = np.arange(length)
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * (m + 0.5) / length)
    window *= 2.0 / window.sum()
    turn = 2.0 * np.pi * frequency_hz / sample_rate_hz
    kernel = np.stack([window * np.cos(turn * m), -window * np.sin(turn * m)], 1)
    parts = (frames @ kernel.astype(np.float32)).astype(np.float64)
    starts = first + hop * np.arange(n_frames)
    values = (parts[:, 0] + 1j * parts[:, 1]) * np.exp(-1j * turn * starts)
    # Equivalent noise bandwidth of a Hann window: 1.5 bins.
    band_hz = 1.5 * sample_rate_hz / length
    return Track(
        times_s=np.asarray((starts + 0.5 * length) / sample_rate_hz, np.float64),
        values=values,
        frequency_hz=frequency_hz,
        noise=10.0 ** (noise_db_per_hz / 10.0) * band_hz,
        window_s=length / sample_rate_hz,
    )


def fit_decay(track: Track) -> DecayFit:
    """Return the slope of the track's level above the noise, beats and hum taken out.

    Where the level ripples, the track is resolved into exponentials; those of the string are
    added as powers, so that their beat is gone, and what is left of mains hum is dropped.
    """
    track = _without_end(track)
    plain = fit_level_slope(
        track.times_s, track.powers, noise=track.noise, frames_per_independent=0.5 * _HOPS
    )
    if plain.rate_db_per_s is None:
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
        return _line(t[use], 10.0 * np.log10(powers[use]), np.ones(int(use.sum())), 1.0).fall

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


def _refused(times_s: FloatArray, powers: FloatArray, noise: float) -> DecayFit:
    over = 10.0 * np.log10((np.median(powers) + 1e-30) / (noise + 1e-30))
    return DecayFit(
        rate_db_per_s=None,
        low_db_per_s=None,
        high_db_per_s=None,
        reason=(
            f"first partial is heard {over:.0f} dB over the noise for "
            f"{np.ptp(times_s) if len(times_s) else 0.0:.2f} s, "
            f"need {_LEAST_OVER_NOISE_DB:.0f} dB for {LEAST_SPAN_S:.1f} s"
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """Fall per second, level at time zero, standard error of the fall, rms about the line."""

    fall: float
    at_zero: float
    error: float
    ripple: float


def _line(
    t: FloatArray, level: FloatArray, var: FloatArray, frames_per_independent: float
) -> _Line:
    """Return the line through a level whose beginning is in doubt.

    Early points weigh less, and what a departure there would do to the slope is in its error.
    """
    early = _EARLY_DB * np.exp(-(t - START_S) / _EARLY_S)
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
    if not fit.numbers or fit.numbers[0] != 1:
        return DecayFit(
            rate_db_per_s=None,
            low_db_per_s=None,
            high_db_per_s=None,
            reason="first partial is not heard over the noise",
        )
    if stop_s - START_S < LEAST_SPAN_S:
        return DecayFit(
            rate_db_per_s=None,
            low_db_per_s=None,
            high_db_per_s=None,
            reason=f"note lasts {stop_s:.2f} s, need {START_S + LEAST_SPAN_S:.2f} s",
        )
    track = track_partial(
        samples,
        sample_rate_hz=sample_rate_hz,
        frequency_hz=fit.pitch_hz,
        start_s=START_S,
        stop_s=stop_s,
        noise_db_per_hz=fit.noises_db[0],
    )
    if track is None:
        return DecayFit(
            rate_db_per_s=None,
            low_db_per_s=None,
            high_db_per_s=None,
            reason=f"note lasts {stop_s:.2f} s: too few periods to see a fall",
        )
    return fit_decay(track)
