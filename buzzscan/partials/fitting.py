"""First partial and inharmonicity from the partials of a note.

Conventions
-----------
See `buzzscan.partials`.

Limits
------
Each partial is looked for where those below it say; one lone high peak decides nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from buzzscan.partials.line import USUAL_B, Line, PitchWindow, fit_line, partial_ratios
from buzzscan.partials.sinusoids import (
    ERROR_OF_PEAK,
    Peaks,
    Spectrum,
    lobe,
    read_peaks,
    spectrum_of,
)
from buzzscan.units import DB_PER_NEPER, power_to_db

__all__ = ["LEAST_PERIODS", "PartialFit", "fit_partials", "measure_partials"]

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

_CENTS = 1200.0 / float(np.log(2.0))
LEAST_PERIODS = 4.5
"""Periods a stretch must hold: the main lobes of two neighbours (±2 bins) just part."""
_STAGES = (7, 18, 48)
"""Partials used in turn: each fit tells where the next partials must be looked for."""
_HIGHEST_HZ = 12_000.0
"""Partials above lie near the limit of pickups, phones and lossy codecs."""
_REACH_CENTS = 60.0
"""How far from the expected pitch the first partial may lie: a semitone would be the next fret."""
_GRID_CENTS = 4.0
_GRID_PARTIALS = 8
_LONGEST_GAP = 6
"""Partials in a row that pick and pickup may both leave out (near a fifth of the string)."""
_LEAST_OF_LOUDEST = 1e-9
"""Power over the loudest partial's: 90 dB below it, 16 bits hold nothing."""
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
    inharmonicity
        B, None with `reason` where the partials do not tell it within 5 per cent.
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
    spectrum = spectrum_of(samples, sample_rate_hz)
    if spectrum is None or expected_hz / spectrum.bin_hz < LEAST_PERIODS:
        return None
    start = _best_on_grid(spectrum, expected_hz, reach_cents)
    reach = 2.0 ** (reach_cents / 1200.0)
    window = PitchWindow(start[0], expected_hz / reach, expected_hz * reach)
    line = _first_line(start, reach_cents)
    highest = int(min(_HIGHEST_HZ, 0.46 * sample_rate_hz) / start[0])
    highest = max(min(max_partials, highest), 1)
    peaks: Peaks | None = None
    for stage in (*(s for s in _STAGES if s < highest), highest):
        numbers = np.arange(1, stage + 1)
        rough = stage < highest
        peaks = _peaks(spectrum, numbers, line, start[0], rough=rough)
        solved = fit_line(spectrum, peaks, window, rough=rough) if peaks.good.any() else None
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
    spectrum = spectrum_of(samples, sample_rate_hz)
    if spectrum is None:
        return guess, np.full(len(guess), np.inf)
    at = guess / spectrum.bin_hz
    near = np.round(at).astype(np.intp)[:, None] + np.array([-1, 0, 1])
    near = np.clip(near, 1, len(spectrum.power) - 2)
    top = near[np.arange(len(at)), np.argmax(spectrum.power[near], axis=1)]
    spacing = float(np.min(np.diff(at))) if len(at) > 1 else float(at[0])
    peaks = read_peaks(spectrum, np.arange(len(at)), top, spacing)
    error = ERROR_OF_PEAK * np.sqrt(peaks.noise / np.maximum(spectrum.power[top], 1e-30))
    found = peaks.good & (np.abs(peaks.place.real - at) < 1.5)
    return (
        np.asarray(peaks.place.real * spectrum.bin_hz),
        np.where(found, error * spectrum.bin_hz, np.inf),
    )


def _best_on_grid(
    spectrum: Spectrum, expected_hz: float, reach_cents: float
) -> tuple[float, float]:
    """Return the (f0, B) of a coarse grid on whose partials most amplitude lies."""
    steps = int(np.ceil(reach_cents / _GRID_CENTS))
    f = expected_hz * 2.0 ** (np.arange(-steps, steps + 1) * reach_cents / steps / 1200.0)
    b = np.array(USUAL_B)
    n = np.arange(1, _GRID_PARTIALS + 1)
    # Fixed first partial, so that B does not move it.
    at = f[:, None, None] * (n * partial_ratios(n, b[:, None])) / spectrum.bin_hz
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


def _first_line(start: tuple[float, float], reach_cents: float) -> Line:
    # Standard error of the grid's choice: a third of the reach would be no choice at all.
    error = 2.0 * (2.0 ** (reach_cents / 1200.0) - 1.0) / 6.0
    return Line(
        f0_hz=start[0] / float(np.sqrt(1.0 + start[1])),
        b=start[1],
        var_f=error**2,
        cov=0.0,
        var_b=(2.0 * start[1]) ** 2,
        weights=np.zeros(0),
        scatter=0.0,
    )


def _peaks(
    spectrum: Spectrum,
    numbers: npt.NDArray[np.intp],
    line: Line,
    f_ref_hz: float,
    *,
    rough: bool,
) -> Peaks:
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
    peaks = read_peaks(spectrum, numbers, top, spacing, rough=rough)
    good = peaks.good & (at < n_bins - 3)
    good &= power[top] > _LEAST_OF_LOUDEST * float(power[top[good]].max(initial=0.0))
    # A peak far above the last partial heard is a stranger that would swing the whole line.
    heard = np.maximum.accumulate(np.where(good, numbers, 0))
    gap = numbers - np.concatenate([[0], heard[:-1]])
    beyond = good & (gap > _LONGEST_GAP) & (heard > gap)
    if beyond.any():
        good &= numbers < numbers[int(np.argmax(beyond))]
    return replace(peaks, good=good)


def _result(spectrum: Spectrum, peaks: Peaks, line: Line) -> PartialFit:
    good = peaks.good
    numbers = peaks.number[good]
    place, strength = peaks.place[good], peaks.strength[good]
    first = np.array([1])
    error = float(line.error_ratio(first)[0])
    reason = _why_no_b(line, numbers, b_error=float(np.sqrt(line.var_b)))
    over = spectrum.power[peaks.top[good]] / peaks.noise[good]
    per_hz = 4.0 / (0.375 * spectrum.n_samples * spectrum.rate_hz)
    level = _levels(spectrum, place, strength)
    decay = 2.0 * np.pi * place.imag * spectrum.bin_hz * DB_PER_NEPER
    return PartialFit(
        pitch_hz=float(line.at(first)[0]),
        pitch_error_cents=_CENTS * error,
        f0_hz=line.f0_hz,
        inharmonicity=None if reason else line.b,
        likely_b=line.b,
        reason=reason,
        numbers=tuple(numbers.tolist()),
        frequencies_hz=tuple((place.real * spectrum.bin_hz).tolist()),
        levels_db=tuple(level.tolist()),
        over_noise_db=tuple(power_to_db(over).tolist()),
        used=tuple(line.weights[good].tolist()),
        decays_db_per_s=tuple(decay.tolist()),
        noises_db=tuple(power_to_db(peaks.noise[good] * per_hz).tolist()),
        errors_cents=tuple((ERROR_OF_PEAK * _CENTS / np.sqrt(over) / place.real).tolist()),
        scatter_cents=_CENTS * line.scatter,
        explained_ratio=_explained(spectrum, peaks, line),
    )


def _levels(spectrum: Spectrum, place: ComplexArray, strength: ComplexArray) -> FloatArray:
    """Return the mean level of each partial over the window, dB re a full-scale sine."""
    x = np.stack([place - np.round(place.real) - k for k in (-1.0, 0.0, 1.0, 2.0, -2.0)])
    power = np.asarray((np.abs(strength / lobe(x)) ** 2).sum(axis=0), np.float64)
    # Parseval: a sine of amplitude 1 puts N²/4 · 3/8 into the bins of its main lobe.
    return np.asarray(power_to_db(power / (spectrum.n_samples**2 * 3.0 / 32.0)))


def _explained(spectrum: Spectrum, peaks: Peaks, line: Line) -> float:
    power = spectrum.power
    low = int(0.5 * line.f0_hz / spectrum.bin_hz)
    high = int(min(len(power), (peaks.top[peaks.good].max() if peaks.good.any() else low) + 3))
    total = float(power[low:high].sum())
    near = peaks.top[peaks.good][:, None] + np.arange(-2, 3)
    on = float(power[np.unique(np.clip(near, 0, len(power) - 1))].sum())
    return min(on / total, 1.0) if total > 0.0 else 0.0


def _why_no_b(line: Line, numbers: npt.NDArray[np.intp], *, b_error: float) -> str:
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
