"""Sinusoids in a short stretch of sound: their places, strengths and errors.

Conventions
-----------
Places are in bins of 1/duration; the imaginary part of a place is its decay.

Limits
------
Neighbours must lie four bins apart or more.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import fft

__all__ = [
    "ERROR_OF_PEAK",
    "Peaks",
    "Spectrum",
    "interpolate",
    "lobe",
    "middle",
    "read_peaks",
    "spectrum_of",
]

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

_LEAST_OVER_NOISE_DB = 10.0
"""Height over the noise around it from which a peak is a partial: noise alone passes it in one
of 20 000 bins."""
ERROR_OF_PEAK = 0.55
"""Standard error of a peak's place in bins, times its amplitude over that of the noise. From
Monte Carlo over all places between two bins; the bound for a Hann window is 0.53."""
_LEAKAGE_ROUNDS = ((8.0, 3), (16.0, 2), (40.0, 1), (np.inf, 0))
"""Rounds of taking off leakage by the spacing of the partials in bins: it falls with the cube."""


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Hann spectrum without zero padding, in bins of 1/duration."""

    bins: npt.NDArray[np.complex64]
    power: FloatArray
    rate_hz: float
    n_samples: int

    @property
    def bin_hz(self) -> float:
        """Width of a bin."""
        return self.rate_hz / self.n_samples


@dataclass(frozen=True, slots=True)
class Peaks:
    """Peaks, one per partial number; `place` in bins, its imaginary part is the decay."""

    number: npt.NDArray[np.intp]
    top: npt.NDArray[np.intp]
    place: ComplexArray
    strength: ComplexArray
    noise: FloatArray
    good: npt.NDArray[np.bool_]


def spectrum_of(samples: npt.NDArray[np.floating], rate_hz: float) -> Spectrum | None:
    """Return the spectrum of a stretch, None if it holds fewer than 16 samples."""
    n = _fast_length(len(samples))
    if n < 16:
        return None
    # Direct current stays within the first two bins of this window.
    bins = fft.rfft(np.asarray(samples[:n], np.float32) * _hann(n))
    power = (bins.real**2 + bins.imag**2).astype(np.float64)
    return Spectrum(bins=bins, power=power, rate_hz=rate_hz, n_samples=n)


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


def read_peaks(
    spectrum: Spectrum,
    numbers: npt.NDArray[np.intp],
    top: npt.NDArray[np.intp],
    spacing: float,
    *,
    rough: bool = False,
) -> Peaks:
    """Return place and strength of the peaks at given bins, leakage taken off."""
    power = spectrum.power
    noise = _noise_around(power, top, spacing)
    is_peak = (power[top] >= power[top - 1]) & (power[top] >= power[top + 1])
    high = power[top] > noise * 10.0 ** (_LEAST_OVER_NOISE_DB / 10.0)
    good = is_peak & high
    three = spectrum.bins[top[:, None] + np.array([-1, 0, 1])].astype(np.complex128)
    place, strength = interpolate(three)
    rounds = next(n for limit, n in _LEAKAGE_ROUNDS if spacing < limit)
    for _ in range(min(rounds, 1) if rough else rounds):
        leak = _leakage(top, top + place, strength, good)
        place, strength = interpolate(three - leak)
    good &= np.abs(place.real) < 1.0
    return Peaks(numbers, top, top + place, strength, noise, good)


def _noise_around(power: FloatArray, top: npt.NDArray[np.intp], spacing: float) -> FloatArray:
    """Return the mean power per bin of what lies beside each peak."""
    half = int(max(round(0.5 * spacing), 3))
    inner = min(4, half)
    beside = np.arange(inner, half + 3)
    offsets = np.concatenate([-beside, beside])
    index = np.clip(top[:, None] + offsets, 0, len(power) - 1)
    # Median of an exponential distribution is ln 2 of its mean.
    return np.asarray(middle(power[index]) / np.log(2.0) + 1e-12)


def interpolate(three: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
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
    direct = other[:, None, :] * strength[use] / lobe(x)
    mirror = -np.conj(strength[use]) / lobe(-np.conj(place[use])[None, None, :] - bins[:, :, None])
    return np.asarray((direct + mirror).sum(axis=-1))


def lobe(x: ComplexArray) -> ComplexArray:
    """Return x(x² − 1), by which strength is divided x bins from a sinusoid; never zero."""
    value = x * (x * x - 1.0)
    return np.asarray(np.where(np.abs(value) < 1e-6, 1e-6, value))


def middle(values: FloatArray) -> FloatArray:
    """Return the (upper) median over the last axis, with less ado than numpy's."""
    return np.asarray(np.sort(values, axis=-1)[..., values.shape[-1] // 2])
