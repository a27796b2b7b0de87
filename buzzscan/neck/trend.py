"""A smooth trend over the frets of one string that single bad notes do not bend.

Conventions
-----------
Frets and values are 1-D arrays of one length; a trend is evaluated wherever it is asked for.
`spread` is the robust standard deviation of the values about it.

Limits
------
Up to about a third of the values may be bad. Fewer than `MIN_POINTS` give no trend.
"""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.units import MAD_TO_SIGMA

__all__ = ["MIN_POINTS", "Trend", "trend_of"]

FloatArray = npt.NDArray[np.float64]

MIN_POINTS = 4
_POINTS_PER_TERM = 4
_TUKEY = 4.685
"""Tuning of Tukey's biweight for 95 % efficiency on normal errors (Huber, Robust Statistics)."""
_ROUNDS = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A polynomial over the frets with the spread of the values about it."""

    coefficients: tuple[float, ...]
    middle: float
    half: float
    spread: float

    def at(self, frets: npt.ArrayLike) -> FloatArray:
        """Return the trend at some frets; beyond the values it runs on level."""
        along = np.clip((np.asarray(frets, np.float64) - self.middle) / self.half, -1.15, 1.15)
        fit = np.polynomial.polynomial.polyval(along, np.asarray(self.coefficients))
        return np.asarray(fit, np.float64)


def _sigma(residuals: FloatArray, floor: float, spent: int) -> float:
    lost = residuals.size / max(residuals.size - spent, 1)
    middle: float = statistics.median(np.abs(residuals).tolist())
    return max(MAD_TO_SIGMA * middle * math.sqrt(lost), floor)


def trend_of(
    frets: npt.ArrayLike,
    values: npt.ArrayLike,
    *,
    errors: npt.ArrayLike | None = None,
    degree: int = 2,
    floor: float = 1e-3,
) -> Trend | None:
    """Return the robust polynomial trend of values over frets, or None for too few values.

    Starts from the least absolute deviations (reweighted) and ends with Tukey's biweight, so
    that neither isolated notes nor a dip two or three frets wide bend it.

    Parameters
    ----------
    errors
        Standard error of each value, by which it is weighed; none when None. The spread is then
        that of a value without error.
    degree
        Highest degree; lowered so that each term rests on four values.
    floor
        Least spread assumed, in units of the values.
    """
    x, y = np.asarray(frets, np.float64), np.asarray(values, np.float64)
    if x.size < MIN_POINTS:
        return None
    degree = min(degree, x.size // _POINTS_PER_TERM - 1)
    middle = 0.5 * float(x.min() + x.max())
    half = max(0.5 * float(x.max() - x.min()), 1.0)
    terms = np.polynomial.polynomial.polyvander((x - middle) / half, degree)
    wide = np.ones(x.size) if errors is None else np.hypot(np.asarray(errors) / floor, 1.0)
    terms, y = terms / wide[:, None], y / wide
    weights: FloatArray = np.ones(x.size)
    fit: FloatArray = np.zeros(degree + 1)
    for step in range(_ROUNDS):
        root = np.sqrt(weights)[:, None]
        fit = np.asarray(np.linalg.lstsq(terms * root, y * root[:, 0], rcond=None)[0], np.float64)
        residuals = y - terms @ fit
        sigma = _sigma(residuals, floor, degree + 1)
        if step < _ROUNDS // 2:
            weights = 1.0 / np.maximum(np.abs(residuals), 0.1 * sigma)
        else:
            weights = np.square(np.maximum(1.0 - (residuals / (_TUKEY * sigma)) ** 2, 1e-6))
    return Trend(
        coefficients=tuple(float(c) for c in fit),
        middle=middle,
        half=half,
        spread=_sigma(y - terms @ fit, floor, degree + 1),
    )
