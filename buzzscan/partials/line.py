"""The straight line through the partials of a stiff string, whatever strangers lie among them.

Conventions
-----------
(f_n/f_ref/n)² − 1 = offset + slope·n²; B is slope over 1 + offset.

Limits
------
Strangers must be the minority.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from buzzscan.partials.sinusoids import ERROR_OF_PEAK, Peaks, Spectrum, middle

__all__ = ["USUAL_B", "Line", "PitchWindow", "fit_line", "partial_ratios"]

FloatArray = npt.NDArray[np.float64]

USUAL_B = (2e-5, 1e-4, 4e-4)
"""From a thin plain string to a wound string stopped high on the neck."""
_MODEL_CENTS = 0.05
"""Scatter of real partials about the formula that is never undercut."""
_LEAST_SCATTER_SHARE = 0.1
"""Neck, body and room move every partial by about as many Hz, so the high ones by fewer cents;
a string's stiffness does not follow the formula better than this."""
_OUTLIER = 3.0
"""Scatters from which a partial loses half of its weight (Cauchy weights)."""
_PRIOR_B, _PRIOR_SD_B = 1e-4, 2e-3
"""Weak knowledge of B that keeps the search on course while few partials are known."""
_MOST_B = 2e-2
_SOLVE_ROUNDS, _ROUGH_ROUNDS = 5, 2
_PAIRED = 9
"""Partials whose pairs propose a line: of 36 pairs, 3 are good even where 2 in 3 partials lie."""
_MEDIAN_OF_NORMAL = 0.6745


@dataclass(frozen=True, slots=True)
class PitchWindow:
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


def partial_ratios(number: npt.NDArray[np.integer[Any]], b: Any) -> FloatArray:
    """Return the frequencies of partials over n times that of the first; both broadcast."""
    return np.asarray(np.sqrt((1.0 + b * number**2) / (1.0 + b)))


@dataclass(frozen=True, slots=True)
class Line:
    """f_n = n·f0·sqrt(1 + B·n²) with the covariance of (ln f0², B).

    `scatter` is that of the first partial about it, over its frequency.
    """

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


def fit_line(
    spectrum: Spectrum, peaks: Peaks, window: PitchWindow, *, rough: bool = False
) -> Line | None:
    """Return the robust straight line through (f_n/n)² against n², None if none fits.

    A rough one is good enough to look for the next partials.
    """
    n = peaks.number[peaks.good]
    n2 = n.astype(float) ** 2
    relative = peaks.place[peaks.good].real * spectrum.bin_hz / (n * window.f_ref_hz)
    y = relative**2 - 1.0
    over = spectrum.power[peaks.top[peaks.good]] / peaks.noise[peaks.good]
    own = 2.0 * ERROR_OF_PEAK / np.sqrt(over) * spectrum.bin_hz / (n * window.f_ref_hz)
    floor = 2.0 * _MODEL_CENTS * np.log(2.0) / 1200.0
    own = np.hypot(own, floor)
    start = _median_line(n2, y, own, over, window)
    if start is None:
        return None
    offset, slope = start
    cov = np.zeros((2, 2))
    scatter = 0.0
    robust = np.ones(len(n))
    sd = own
    share = np.maximum(1.0 / n, _LEAST_SCATTER_SHARE)
    for _ in range(_ROUGH_ROUNDS if rough else _SOLVE_ROUNDS):
        miss = y - offset - slope * n2
        scatter = _excess_scatter(miss, own, share)
        sd = np.hypot(own, scatter * share)
        robust = 1.0 / (1.0 + (miss / sd / _OUTLIER) ** 2)
        offset, slope, cov = _weighted_line(n2, y, robust / sd**2)
    swing = _swing(n2, y, robust / sd**2, slope)
    b = float(np.clip(slope / (1.0 + offset), 0.0, _MOST_B))
    if not window.holds(offset, b):
        return None
    weights = np.zeros(len(peaks.number))
    weights[peaks.good] = robust
    return Line(
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
    n2: FloatArray, y: FloatArray, own: FloatArray, over: FloatArray, window: PitchWindow
) -> tuple[float, float] | None:
    """Return the line through two partials that the most others lie near, within reach.

    Least median of squares (Rousseeuw, J. Am. Stat. Assoc. 79, 1984) over the pairs of the
    partials that stand out most; lines of the usual stiffness through one partial as well.
    """
    best = np.argsort(-over, kind="stable")[:_PAIRED]
    i, j = np.triu_indices(len(best), 1)
    i, j = best[i], best[j]
    slope = np.concatenate([(y[j] - y[i]) / (n2[j] - n2[i]), np.repeat(USUAL_B, len(best))])
    through = np.concatenate([i, np.tile(best, len(USUAL_B))])
    offset = y[through] - slope * n2[through]
    allowed = window.holds(offset, slope) & (slope > -1e-5) & (slope < _MOST_B)
    if not allowed.any():
        return None
    offset, slope = offset[allowed], slope[allowed]
    miss = np.abs(y - offset[:, None] - slope[:, None] * n2) / own
    # Scores beyond 30 errors are all equally far; the sum of roots parts what medians tie.
    score = middle(miss) + 0.1 * np.sqrt(np.minimum(miss, 30.0)).mean(axis=1)
    at = int(np.argmin(score))
    return float(offset[at]), float(slope[at])


def _excess_scatter(miss: FloatArray, own: FloatArray, share: FloatArray) -> float:
    """Return the first partial's scatter that makes the median miss what it is.

    The peaks' own errors are in it, and other partials scatter by their `share` of the first's.
    """
    if len(miss) < 4:
        return 0.0
    # Two partials' worth of freedom has gone into the line.
    wanted = _MEDIAN_OF_NORMAL * np.sqrt(1.0 - 2.0 / len(miss))
    if float(middle(np.abs(miss) / own)) <= wanted:
        return 0.0
    trial = float(middle(own / share)) * 2.0 ** np.arange(-4.0, 12.0, 0.5)
    medians = middle(np.abs(miss) / np.hypot(own, trial[:, None] * share))
    return float(trial[int(np.argmax(medians <= wanted))]) if (medians <= wanted).any() else 0.0


def _weighted_line(x: FloatArray, y: FloatArray, w: FloatArray) -> tuple[float, float, FloatArray]:
    """Return offset, slope and their covariance, with the weak prior on the slope."""
    wx = w * x
    s0, s1, s2 = float(w.sum()), float(wx.sum()), float(wx @ x) + 1.0 / _PRIOR_SD_B**2
    y0, y1 = float(w @ y), float(wx @ y) + _PRIOR_B / _PRIOR_SD_B**2
    det = s0 * s2 - s1 * s1
    cov = np.array([[s2, -s1], [-s1, s0]]) / det
    return (s2 * y0 - s1 * y1) / det, (s0 * y1 - s1 * y0) / det, cov
