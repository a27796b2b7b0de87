"""The partials of a plucked string: first partial and inharmonicity, fitted together.

Conventions
-----------
Partial n of a stiff string lies at ``n · f0 · sqrt(1 + B·n²)`` (Fletcher, J. Acoust. Soc. Am.
36, 1964). `PartialFit.pitch_hz` is the first partial, ``f0 · sqrt(1 + B)``: what a tuner
reads. Levels are dB re a full-scale sine. Standard errors are one sigma.

Limits
------
One note at a time, at least `LEAST_PERIODS` periods of it. The fit is a straight line through
the partials; a body that shifts a low partial, a neighbour string or mains hum on a partial
are set aside as long as they are the minority.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft

from buzzscan.units import power_to_db

__all__ = ["LEAST_PERIODS", "PartialFit", "fit_partials", "measure_partials"]

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

LEAST_PERIODS = 4.5
"""Periods a stretch must hold: the main lobes of two neighbours (±2 bins) just part."""
_STAGES = (6, 12, 24, 48)
"""Partials used in turn: each fit tells where the next partials must be looked for."""
_HIGHEST_HZ = 12_000.0
"""Partials above lie near the limit of pickups, phones and lossy codecs."""
_REACH_CENTS = 60.0
"""How far from the expected pitch the first partial may lie: a semitone would be the next fret."""
_GRID_CENTS = 4.0
_GRID_B = (2e-5, 1e-4, 4e-4)
"""From a thin plain string to a wound string stopped high on the neck."""
_GRID_PARTIALS = 8
_LEAST_OVER_NOISE_DB = 10.0
"""Height over the noise around it from which a peak is a partial: noise alone passes it in one
of 20 000 bins."""
_ERROR_OF_PEAK = 0.55
"""Standard error of a peak's place in bins, times its amplitude over that of the noise. From
Monte Carlo over all places between two bins; the bound for a Hann window is 0.53."""
_LONGEST_GAP = 6
"""Partials in a row that pick and pickup may both leave out (near a fifth of the string)."""
_MODEL_CENTS = 0.05
"""Scatter of real partials about the formula that is never undercut."""
_OUTLIER = 3.0
"""Scatters from which a partial loses half of its weight (Cauchy weights)."""
_PRIOR_B, _PRIOR_SD_B = 1e-4, 4e-4
"""Weak knowledge of B that keeps the search on course while few partials are known."""
_MOST_B = 2e-2
_LEAKAGE_ROUNDS = ((8.0, 3), (16.0, 2), (40.0, 1), (np.inf, 0))
"""Rounds of taking off leakage by the spacing of the partials in bins: it falls with the cube."""
_SOLVE_ROUNDS = 5
_PAIRED = 9
"""Partials whose pairs propose a line: of 36 pairs, 3 are good even where 2 in 3 partials lie."""
_MEDIAN_OF_NORMAL = 0.6745
_LEAST_PARTIALS_FOR_B = 5
_MOST_ERROR_B_RATIO = 0.02
"""Keeps 19 in 20 stated values within 5 per cent: errors are not all as tame as noise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartialFit:
    """First partial and inharmonicity of one note.

    Parameters
    ----------
    pitch_hz, pitch_error_cents
        First partial and its standard error.
    f0_hz
        Frequency of the string without stiffness.
    inharmonicity, inharmonicity_error
        B and its standard error, None with `reason` where the partials do not tell it within
        5 per cent.
    likely_b
        Best guess of B, for finding partials only: never a result.
    reason
        Why `inharmonicity` is None, else empty.
    numbers, frequencies_hz, levels_db, over_noise_db, used
        Per partial found: its number, frequency, level, height over the noise around it, and
        its weight in the fit (0–1).
    decays_db_per_s
        Per partial found: fall of its level over the stretch.
    noises_db
        Per partial found: noise beside it in a band of 1 Hz, dB re a full-scale sine.
    errors_cents
        Per partial found: standard error of its frequency by the noise alone.
    scatter_cents
        Spread of the partials about the fit.
    explained_ratio
        Share of the power between half the first and the highest partial that lies on partials.
    """

    pitch_hz: float
    pitch_error_cents: float
    f0_hz: float
    inharmonicity: float | None
    inharmonicity_error: float | None
    likely_b: float
    reason: str
    numbers: tuple[int, ...]
    frequencies_hz: tuple[float, ...]
    levels_db: tuple[float, ...]
    over_noise_db: tuple[float, ...]
    used: tuple[float, ...]
    decays_db_per_s: tuple[float, ...]
    noises_db: tuple[float, ...]
    errors_cents: tuple[float, ...]
    scatter_cents: float
    explained_ratio: float

    def partial_hz(self, number: int) -> float:
        """Return where a partial lies by the fit, in Hz."""
        return float(number * self.f0_hz * np.sqrt(1.0 + self.likely_b * number**2))


@dataclass(frozen=True, slots=True)
class _Spectrum:
    """Hann spectrum without zero padding, in bins of 1/duration."""

    bins: ComplexArray
    power: FloatArray
    rate_hz: float
    n_samples: int

    @property
    def bin_hz(self) -> float:
        return self.rate_hz / self.n_samples


@dataclass(frozen=True, slots=True)
class _Peaks:
    """Peaks, one per partial number; `place` in bins, its imaginary part is the decay."""

    number: npt.NDArray[np.intp]
    top: npt.NDArray[np.intp]
    place: ComplexArray
    strength: ComplexArray
    noise: FloatArray
    good: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Window:
    """Where the first partial may lie; offsets are of (f/f_ref)² − 1 without stiffness."""

    f_ref_hz: float
    low_hz: float
    high_hz: float

    def holds(self, offset: Any, b: Any) -> Any:
        """Return whether the first partial of a line lies within."""
        ratio = np.maximum((1.0 + offset) * (1.0 + b), 0.0)
        return (ratio >= (self.low_hz / self.f_ref_hz) ** 2) & (
            ratio <= (self.high_hz / self.f_ref_hz) ** 2
        )


@dataclass(frozen=True, slots=True)
class _Line:
    """f_n = n·f0·sqrt(1 + B·n²) with the covariance of (ln f0², B)."""

    f0_hz: float
    b: float
    var_f: float
    cov: float
    var_b: float
    weights: FloatArray
    scatter: float

    def at(self, number: npt.NDArray[np.intp]) -> FloatArray:
        """Return frequencies in Hz."""
        return np.asarray(number * self.f0_hz * np.sqrt(1.0 + self.b * number.astype(float) ** 2))

    def error_ratio(self, number: npt.NDArray[np.intp]) -> FloatArray:
        """Return the standard errors of `at` over its values."""
        n2 = number.astype(float) ** 2
        var = self.var_f + 2.0 * n2 * self.cov + n2 * n2 * self.var_b
        return np.asarray(0.5 * np.sqrt(np.maximum(var, 0.0)))


def fit_partials(
    samples: npt.NDArray[np.floating],
    *,
    sample_rate_hz: float,
    expected_hz: float,
    max_partials: int = _STAGES[-1],
    reach_cents: float = _REACH_CENTS,
) -> PartialFit | None:
    """Return the first partial and the inharmonicity of a note, or None if none is heard.

    Frequencies come from three bins of a Hann spectrum by the interpolated discrete Fourier
    transform for damped sinusoids (Duda et al., IEEE Trans. Instrum. Meas. 60, 2011), the
    leakage of the other partials taken off; then (f_n/n)² against n² is a robust straight line.

    Parameters
    ----------
    samples
        Mono, shape (n,): a stretch of the note after its attack. At most the longest length
        below n that transforms fast is used.
    sample_rate_hz
        Rate of `samples`.
    expected_hz
        First partial to look for, within `reach_cents`.
    max_partials
        Highest partial to use.
    reach_cents
        How far from `expected_hz` the first partial may lie.
    """
    spectrum = _spectrum(samples, sample_rate_hz)
    if spectrum is None or expected_hz / spectrum.bin_hz < LEAST_PERIODS:
        return None
    start = _best_on_grid(spectrum, expected_hz, reach_cents)
    reach = 2.0 ** (reach_cents / 1200.0)
    window = _Window(start[0], expected_hz / reach, expected_hz * reach)
    line = _first_line(start, reach_cents)
    highest = int(min(_HIGHEST_HZ, 0.46 * sample_rate_hz) / start[0])
    highest = max(min(max_partials, highest), 1)
    peaks: _Peaks | None = None
    for stage in (*(s for s in _STAGES if s < highest), highest):
        numbers = np.arange(1, stage + 1)
        peaks = _peaks(spectrum, numbers, line, start[0], rough=stage < highest)
        solved = _solve(spectrum, peaks, window) if peaks.good.any() else None
        if solved is None:
            return None
        line = solved
    assert peaks is not None  # noqa: S101 - at least one stage has run
    return _result(spectrum, peaks, line)


def measure_partials(
    samples: npt.NDArray[np.floating], *, sample_rate_hz: float, frequencies_hz: Sequence[float]
) -> tuple[FloatArray, FloatArray]:
    """Return frequencies of known partials in a stretch, and their standard errors, in Hz.

    Parameters
    ----------
    samples
        Mono, shape (n,).
    sample_rate_hz
        Rate of `samples`.
    frequencies_hz
        Where the partials lie, within a bin or two, rising; at least one.

    Returns
    -------
    Two arrays of the shape of `frequencies_hz`; the error is infinite where no peak is found.
    """
    guess = np.asarray(frequencies_hz, np.float64)
    spectrum = _spectrum(samples, sample_rate_hz)
    if spectrum is None:
        return guess, np.full(len(guess), np.inf)
    at = guess / spectrum.bin_hz
    near = np.round(at).astype(np.intp)[:, None] + np.array([-1, 0, 1])
    near = np.clip(near, 1, len(spectrum.power) - 2)
    top = near[np.arange(len(at)), np.argmax(spectrum.power[near], axis=1)]
    spacing = float(np.min(np.diff(at))) if len(at) > 1 else float(at[0])
    peaks = _read_peaks(spectrum, np.arange(len(at)), top, spacing)
    error = _ERROR_OF_PEAK * np.sqrt(peaks.noise / np.maximum(spectrum.power[top], 1e-30))
    found = peaks.good & (np.abs(peaks.place.real - at) < 1.5)
    return (
        np.asarray(peaks.place.real * spectrum.bin_hz),
        np.where(found, error * spectrum.bin_hz, np.inf),
    )


def _spectrum(samples: npt.NDArray[np.floating], rate_hz: float) -> _Spectrum | None:
    n = _fast_length(len(samples))
    if n < 16:
        return None
    piece = np.asarray(samples[:n], np.float32)
    bins = fft.rfft((piece - piece.mean()) * _hann(n)).astype(np.complex128)
    power = bins.real**2 + bins.imag**2
    return _Spectrum(bins=bins, power=power, rate_hz=rate_hz, n_samples=n)


@lru_cache(maxsize=256)
def _fast_length(most: int) -> int:
    """Return the longest length up to `most` with no prime factor above 5."""
    best = 1
    five = 1
    while five <= most:
        three = five
        while three <= most:
            best = max(best, three << ((most // three).bit_length() - 1))
            three *= 3
        five *= 5
    return best if most >= 1 else 0


@lru_cache(maxsize=32)
def _hann(n: int) -> npt.NDArray[np.float32]:
    window = (0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(n) / n)).astype(np.float32)
    window.flags.writeable = False
    return window


def _best_on_grid(
    spectrum: _Spectrum, expected_hz: float, reach_cents: float
) -> tuple[float, float]:
    """Return the (f0, B) of a coarse grid on whose partials most amplitude lies."""
    steps = int(np.ceil(reach_cents / _GRID_CENTS))
    f = expected_hz * 2.0 ** (np.arange(-steps, steps + 1) * reach_cents / steps / 1200.0)
    b = np.array(_GRID_B)
    n = np.arange(1, _GRID_PARTIALS + 1)
    # Fixed first partial, so that B does not move it.
    stretch = np.sqrt((1.0 + b[:, None] * n * n) / (1.0 + b[:, None]))
    at = f[:, None, None] * (n * stretch) / spectrum.bin_hz
    index = np.floor(at).astype(np.intp)
    inside = index < len(spectrum.power) - 1
    index = np.where(inside, index, 0)
    part = at - index
    amplitude = np.sqrt(spectrum.power)
    near = amplitude[index] * (1.0 - part) + amplitude[index + 1] * part
    # The root keeps one loud stranger from outvoting the rest.
    score = np.sqrt(np.where(inside, near, 0.0)).sum(axis=-1)
    i, j = np.unravel_index(int(np.argmax(score)), score.shape)
    return float(f[i]), float(b[j])


def _first_line(start: tuple[float, float], reach_cents: float) -> _Line:
    # Standard error of the grid's choice: a third of the reach would be no choice at all.
    error = 2.0 * (2.0 ** (reach_cents / 1200.0) - 1.0) / 6.0
    return _Line(
        f0_hz=start[0] / float(np.sqrt(1.0 + start[1])),
        b=start[1],
        var_f=error**2,
        cov=0.0,
        var_b=(2.0 * start[1]) ** 2,
        weights=np.zeros(0),
        scatter=0.0,
    )


def _peaks(
    spectrum: _Spectrum,
    numbers: npt.NDArray[np.intp],
    line: _Line,
    f_ref_hz: float,
    *,
    rough: bool,
) -> _Peaks:
    """Return the highest peak near each place the line predicts, leakage taken off."""
    power, n_bins = spectrum.power, len(spectrum.power)
    spacing = f_ref_hz / spectrum.bin_hz
    at = line.at(numbers) / spectrum.bin_hz
    reach = np.clip(1.0 + 3.0 * at * line.error_ratio(numbers), 1.5, max(0.35 * spacing, 1.5))
    span = int(np.ceil(reach.max())) + 1
    centre = np.round(at).astype(np.intp)
    offsets = np.arange(-span, span + 1)
    index = np.clip(centre[:, None] + offsets, 1, n_bins - 2)
    near = np.where(np.abs(index - at[:, None]) <= reach[:, None], power[index], 0.0)
    top = index[np.arange(len(numbers)), np.argmax(near, axis=1)]
    peaks = _read_peaks(spectrum, numbers, top, spacing, rough=rough)
    good = peaks.good & (at < n_bins - 3)
    # A peak far above the last partial heard is a stranger that would swing the whole line.
    heard = np.maximum.accumulate(np.where(good, numbers, 0))
    gap = numbers - np.concatenate([[0], heard[:-1]])
    beyond = good & (gap > _LONGEST_GAP) & (heard > gap)
    if beyond.any():
        good &= numbers < numbers[int(np.argmax(beyond))]
    return replace(peaks, good=good)


def _read_peaks(
    spectrum: _Spectrum,
    numbers: npt.NDArray[np.intp],
    top: npt.NDArray[np.intp],
    spacing: float,
    *,
    rough: bool = False,
) -> _Peaks:
    """Return place and strength of the peaks at given bins, leakage taken off."""
    power = spectrum.power
    noise = _noise_around(power, top, spacing)
    is_peak = (power[top] >= power[top - 1]) & (power[top] >= power[top + 1])
    high = power[top] > noise * 10.0 ** (_LEAST_OVER_NOISE_DB / 10.0)
    good = is_peak & high
    three = spectrum.bins[top[:, None] + np.array([-1, 0, 1])]
    place, strength = _interpolate(three)
    rounds = next(n for limit, n in _LEAKAGE_ROUNDS if spacing < limit)
    for _ in range(min(rounds, 1) if rough else rounds):
        leak = _leakage(top, top + place, strength, good)
        place, strength = _interpolate(three - leak)
    good &= np.abs(place.real) < 1.0
    return _Peaks(numbers, top, top + place, strength, noise, good)


def _noise_around(power: FloatArray, top: npt.NDArray[np.intp], spacing: float) -> FloatArray:
    """Return the mean power per bin of what lies beside each peak."""
    half = int(max(round(0.5 * spacing), 3))
    inner = min(4, half)
    beside = np.arange(inner, half + 3)
    offsets = np.concatenate([-beside, beside])
    index = np.clip(top[:, None] + offsets, 0, len(power) - 1)
    # Median of an exponential distribution is ln 2 of its mean.
    return np.asarray(_middle(power[index]) / np.log(2.0) + 1e-12)


def _interpolate(three: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
    """Return place relative to the middle bin and strength of a damped sinusoid.

    In a Hann spectrum a sinusoid x bins above bin k leaves S/(x(x² − 1)) there; three bins
    give two linear equations for x, solved by least squares.
    """
    low, mid, high = three[:, 0], three[:, 1], three[:, 2]
    d1, e1 = high - mid, 2.0 * high + mid
    d2, e2 = mid - low, mid + 2.0 * low
    norm = np.abs(d1) ** 2 + np.abs(d2) ** 2
    x = (np.conj(d1) * e1 + np.conj(d2) * e2) / np.maximum(norm, 1e-30)
    # On a bin exactly, the two equations hold for x = 0 and S is the limit of a quotient.
    safe = np.where(np.abs(x) < 1e-7, 1e-7, x)
    return safe, mid * safe * (safe * safe - 1.0)


def _leakage(
    top: npt.NDArray[np.intp],
    place: ComplexArray,
    strength: ComplexArray,
    good: npt.NDArray[np.bool_],
) -> ComplexArray:
    """Return what the other partials, and all mirror images, leave in each peak's bins."""
    use = np.flatnonzero(good)
    bins = top[:, None] + np.array([-1, 0, 1])
    x = place[use][None, None, :] - bins[:, :, None]
    other = np.where(use[None, :] == np.arange(len(top))[:, None], 0.0, 1.0)
    direct = other[:, None, :] * strength[use] / _cubic(x)
    mirror = -np.conj(strength[use]) / _cubic(
        -np.conj(place[use])[None, None, :] - bins[:, :, None]
    )
    return np.asarray((direct + mirror).sum(axis=-1))


def _cubic(x: ComplexArray) -> ComplexArray:
    value = x * (x * x - 1.0)
    return np.asarray(np.where(np.abs(value) < 1e-6, 1e-6, value))


def _solve(spectrum: _Spectrum, peaks: _Peaks, window: _Window) -> _Line | None:
    """Return the robust straight line through (f_n/n)² against n², None if none fits."""
    n = peaks.number[peaks.good]
    n2 = n.astype(float) ** 2
    relative = peaks.place[peaks.good].real * spectrum.bin_hz / (n * window.f_ref_hz)
    y = relative**2 - 1.0
    over = spectrum.power[peaks.top[peaks.good]] / peaks.noise[peaks.good]
    own = 2.0 * _ERROR_OF_PEAK / np.sqrt(over) * spectrum.bin_hz / (n * window.f_ref_hz)
    floor = 2.0 * _MODEL_CENTS * np.log(2.0) / 1200.0
    own = np.hypot(own, floor)
    start = _median_line(n2, y, own, over, window)
    if start is None:
        return None
    offset, slope = start
    cov = np.zeros((2, 2))
    scatter = 0.0
    robust = np.ones(len(n))
    for _ in range(_SOLVE_ROUNDS):
        miss = y - offset - slope * n2
        scatter = _excess_scatter(miss, own)
        sd = np.hypot(own, scatter)
        robust = 1.0 / (1.0 + (miss / sd / _OUTLIER) ** 2)
        offset, slope, cov = _weighted_line(n2, y, robust / sd**2)
    swing = _swing(n2, y, robust / np.hypot(own, scatter) ** 2, slope)
    b = float(np.clip(slope / (1.0 + offset), 0.0, _MOST_B))
    if not window.holds(offset, b):
        return None
    weights = np.zeros(len(peaks.number))
    weights[peaks.good] = robust
    return _Line(
        f0_hz=float(window.f_ref_hz * np.sqrt(1.0 + offset)),
        b=b,
        var_f=float(cov[0, 0]),
        cov=float(cov[0, 1]),
        var_b=float(cov[1, 1]) + swing**2,
        weights=weights,
        scatter=0.5 * scatter,
    )


def _swing(n2: FloatArray, y: FloatArray, w: FloatArray, slope: float) -> float:
    """Return how much the slope owes to the one partial that bears most on it."""
    if len(w) < 3:
        return 0.0  # the prior carries the slope; `_why_no_b` asks for more partials anyway
    bearing = w * (n2 - float(w @ n2) / float(w.sum())) ** 2
    without = np.where(np.arange(len(w)) == int(np.argmax(bearing)), 0.0, w)
    return abs(_weighted_line(n2, y, without)[1] - slope)


def _median_line(
    n2: FloatArray, y: FloatArray, own: FloatArray, over: FloatArray, window: _Window
) -> tuple[float, float] | None:
    """Return the line through two partials that the most others lie near, within reach.

    Least median of squares (Rousseeuw, J. Am. Stat. Assoc. 79, 1984) over the pairs of the
    partials that stand out most; lines of the usual stiffness through one partial as well.
    """
    best = np.argsort(-over, kind="stable")[:_PAIRED]
    i, j = np.triu_indices(len(best), 1)
    i, j = best[i], best[j]
    slope = np.concatenate([(y[j] - y[i]) / (n2[j] - n2[i]), np.repeat(_GRID_B, len(best))])
    through = np.concatenate([i, np.tile(best, len(_GRID_B))])
    offset = y[through] - slope * n2[through]
    allowed = window.holds(offset, slope) & (slope > -1e-5) & (slope < _MOST_B)
    if not allowed.any():
        return None
    offset, slope = offset[allowed], slope[allowed]
    miss = np.abs(y - offset[:, None] - slope[:, None] * n2) / own
    # Scores beyond 30 errors are all equally far; the sum of roots parts what medians tie.
    score = _middle(miss) + 0.1 * np.sqrt(np.minimum(miss, 30.0)).mean(axis=1)
    at = int(np.argmin(score))
    return float(offset[at]), float(slope[at])


def _middle(values: FloatArray) -> FloatArray:
    """Return the (upper) median over the last axis, with less ado than numpy's."""
    return np.asarray(np.sort(values, axis=-1)[..., values.shape[-1] // 2])


def _excess_scatter(miss: FloatArray, own: FloatArray) -> float:
    """Return the scatter that, with the peaks' own errors, makes the median miss what it is."""
    if len(miss) < 4:
        return 0.0
    # Two partials' worth of freedom has gone into the line.
    wanted = _MEDIAN_OF_NORMAL * np.sqrt(1.0 - 2.0 / len(miss))
    if float(_middle(np.abs(miss) / own)) <= wanted:
        return 0.0
    trial = float(_middle(own)) * 2.0 ** np.arange(-2.0, 12.0, 0.5)
    medians = _middle(np.abs(miss) / np.hypot(own, trial[:, None]))
    return float(trial[int(np.argmax(medians <= wanted))]) if (medians <= wanted).any() else 0.0


def _weighted_line(x: FloatArray, y: FloatArray, w: FloatArray) -> tuple[float, float, FloatArray]:
    """Return offset, slope and their covariance, with the weak prior on the slope."""
    wx = w * x
    s0, s1, s2 = float(w.sum()), float(wx.sum()), float(wx @ x) + 1.0 / _PRIOR_SD_B**2
    y0, y1 = float(w @ y), float(wx @ y) + _PRIOR_B / _PRIOR_SD_B**2
    det = s0 * s2 - s1 * s1
    cov = np.array([[s2, -s1], [-s1, s0]]) / det
    return (s2 * y0 - s1 * y1) / det, (s0 * y1 - s1 * y0) / det, cov


def _result(spectrum: _Spectrum, peaks: _Peaks, line: _Line) -> PartialFit:
    good = peaks.good
    numbers = peaks.number[good]
    place, strength = peaks.place[good], peaks.strength[good]
    first = np.array([1])
    error = float(line.error_ratio(first)[0])
    b_error = float(np.sqrt(line.var_b))
    reason = _why_no_b(line, numbers, b_error)
    level = _levels(spectrum, place, strength)
    decay = 2.0 * np.pi * place.imag * spectrum.bin_hz * 20.0 / np.log(10.0)
    return PartialFit(
        pitch_hz=float(line.at(first)[0]),
        pitch_error_cents=1200.0 / float(np.log(2.0)) * error,
        f0_hz=line.f0_hz,
        inharmonicity=None if reason else line.b,
        inharmonicity_error=None if reason else b_error,
        likely_b=line.b,
        reason=reason,
        numbers=tuple(int(n) for n in numbers),
        frequencies_hz=tuple(float(v) for v in place.real * spectrum.bin_hz),
        levels_db=tuple(float(v) for v in level),
        over_noise_db=tuple(
            float(v) for v in power_to_db(spectrum.power[peaks.top[good]] / peaks.noise[good])
        ),
        used=tuple(float(v) for v in line.weights[good]),
        decays_db_per_s=tuple(float(v) for v in decay),
        noises_db=tuple(
            float(v)
            for v in power_to_db(
                peaks.noise[good] * 4.0 / (0.375 * spectrum.n_samples * spectrum.rate_hz)
            )
        ),
        errors_cents=tuple(
            float(v)
            for v in _ERROR_OF_PEAK
            * np.sqrt(peaks.noise[good] / spectrum.power[peaks.top[good]])
            / place.real
            * 1200.0
            / np.log(2.0)
        ),
        scatter_cents=1200.0 / float(np.log(2.0)) * line.scatter,
        explained_ratio=_explained(spectrum, peaks, line),
    )


def _levels(spectrum: _Spectrum, place: ComplexArray, strength: ComplexArray) -> FloatArray:
    """Return the mean level of each partial over the window, dB re a full-scale sine."""
    x = np.stack([place - np.round(place.real) - k for k in (-1.0, 0.0, 1.0, 2.0, -2.0)])
    lobe = np.asarray((np.abs(strength / _cubic(x)) ** 2).sum(axis=0), np.float64)
    # Parseval: a sine of amplitude 1 puts N²/4 · 3/8 into the bins of its main lobe.
    return np.asarray(power_to_db(lobe / (spectrum.n_samples**2 * 3.0 / 32.0)))


def _explained(spectrum: _Spectrum, peaks: _Peaks, line: _Line) -> float:
    power = spectrum.power
    low = int(0.5 * line.f0_hz / spectrum.bin_hz)
    high = int(min(len(power), (peaks.top[peaks.good].max() if peaks.good.any() else low) + 3))
    total = float(power[low:high].sum())
    lobe = peaks.top[peaks.good][:, None] + np.arange(-2, 3)
    on = float(power[np.unique(np.clip(lobe, 0, len(power) - 1))].sum())
    return min(on / total, 1.0) if total > 0.0 else 0.0


def _why_no_b(line: _Line, numbers: npt.NDArray[np.intp], b_error: float) -> str:
    n_used = int((line.weights > 0.5).sum())
    if n_used < _LEAST_PARTIALS_FOR_B:
        return f"{n_used} partials stand clear of the noise, need {_LEAST_PARTIALS_FOR_B}"
    if line.b <= 0.0 or b_error > _MOST_ERROR_B_RATIO * line.b:
        value = f"{100.0 * b_error / line.b:.0f} %" if line.b > 0.0 else "more than the value"
        return (
            f"partials up to number {int(numbers.max())} give inharmonicity to {value}, "
            f"need {100.0 * _MOST_ERROR_B_RATIO:.1f} %"
        )
    return ""
