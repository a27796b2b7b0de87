"""Conversions between the units used throughout the package.

Conventions
-----------
Units are suffixes of names: ``_hz _s _ms _cents _db _dbfs _mm _samples``. A converter is
named ``a_to_b`` and takes a float; those to decibels take arrays as well and return their shape.

Limits
------
Levels of zero power are floored at `FLOOR_DB` rather than minus infinity, so that no
infinity reaches a result.
"""

from typing import overload

import numpy as np
import numpy.typing as npt

__all__ = [
    "DB_PER_NEPER",
    "FLOOR_DB",
    "MAD_TO_SIGMA",
    "amplitude_to_db",
    "cents_to_ratio",
    "hz_to_cents",
    "power_to_db",
    "rate_to_t60",
]

FloatArray = npt.NDArray[np.float64]

FLOOR_DB = -200.0
"""Lowest level returned, in decibels: below the step of a 32-bit float at full scale."""

DB_PER_NEPER = 20.0 / float(np.log(10.0))
"""What an amplitude loses as it falls to 1/e: one that falls as exp(−σt) loses σ times this a
second."""

MAD_TO_SIGMA = 1.4826
"""Standard deviation of a normal distribution over the middle size of its departures:
1 over the quantile at three quarters."""


@overload
def amplitude_to_db(amplitude: float) -> float: ...
@overload
def amplitude_to_db(amplitude: npt.NDArray[np.floating]) -> FloatArray: ...
def amplitude_to_db(amplitude: float | npt.NDArray[np.floating]) -> float | FloatArray:
    """Return 20·log10 of an amplitude ratio, floored at `FLOOR_DB`."""
    value = 20.0 * np.log10(np.maximum(np.asarray(amplitude, np.float64), 10.0 ** (FLOOR_DB / 20)))
    return float(value) if np.ndim(value) == 0 else value


@overload
def power_to_db(power: float) -> float: ...
@overload
def power_to_db(power: npt.NDArray[np.floating]) -> FloatArray: ...
def power_to_db(power: float | npt.NDArray[np.floating]) -> float | FloatArray:
    """Return 10·log10 of a power ratio, floored at `FLOOR_DB`."""
    value = 10.0 * np.log10(np.maximum(np.asarray(power, np.float64), 10.0 ** (FLOOR_DB / 10)))
    return float(value) if np.ndim(value) == 0 else value


def hz_to_cents(frequency_hz: float, reference_hz: float) -> float:
    """Return how many cents a frequency lies above a reference (both above 0 Hz)."""
    return float(1200.0 * np.log2(frequency_hz / reference_hz))


def cents_to_ratio(cents: float) -> float:
    """Return the frequency ratio of an interval in cents."""
    return float(2.0 ** (cents / 1200.0))


def rate_to_t60(decay_db_per_s: float) -> float | None:
    """Return the seconds a fall of 60 dB takes at a rate, or None if nothing falls."""
    return 60.0 / decay_db_per_s if decay_db_per_s > 0.0 else None
