"""Repeatability: how much of what is measured is the guitar, and how much the measuring.

Conventions
-----------
Parts are the positions of the neck, trials are takes. One player, one set-up: the variation of
the gauge is repeatability alone, as in the short form of a gauge study.

Limits
------
Needs at least two takes and two positions measured in all of them.

Notes
-----
Definitions of the AIAG measurement systems analysis manual as its public summaries give them:
TV² = GRR² + PV², %GRR = 100·GRR/TV, number of distinct categories ndc = ⌊1.41·PV/GRR⌋; up to
10 % is good, 10 to 30 % conditional, above not fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

__all__ = ["GaugeStudy", "distinct_categories", "gauge_study"]

CATEGORY_FACTOR = 1.41
GOOD_PERCENT = 10.0
CONDITIONAL_PERCENT = 30.0
REAL_CHANGE_FACTOR = 1.96 * np.sqrt(2.0)
"""A difference of two measurements exceeds this many standard deviations in 5 % of cases."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStudy:
    """Repeatability of one measure.

    Parameters
    ----------
    n_parts, n_trials
        Positions and takes that went in.
    repeatability
        Standard deviation of repeated measurements of one position, in the measure's unit.
    part_variation
        Standard deviation between positions with the repeatability taken out.
    grr_percent
        Share of the repeatability in the total variation, 0–100.
    ndc
        Number of distinct categories; None when the repeatability is zero.
    smallest_real_change
        Difference between two takes that chance exceeds in 5 % of cases.
    grade
        "good", "conditional" or "not fit".
    """

    n_parts: int
    n_trials: int
    repeatability: float
    part_variation: float
    grr_percent: float
    ndc: int | None
    smallest_real_change: float
    grade: Literal["good", "conditional", "not fit"]


def distinct_categories(part_variation: float, repeatability: float) -> int | None:
    """Return ⌊1.41·PV/GRR⌋, or None when nothing varies between trials."""
    if repeatability <= 0.0:
        return None
    return int(np.floor(CATEGORY_FACTOR * part_variation / repeatability))


def gauge_study(values: npt.NDArray[np.float64]) -> GaugeStudy:
    """Return the repeatability of a measure from repeated takes.

    Parameters
    ----------
    values
        Shape (positions, takes), in the measure's unit; rows with NaN are left out.

    Raises
    ------
    ValueError
        If fewer than two whole rows or two takes remain.
    """
    whole = values[np.all(np.isfinite(values), axis=1)]
    if whole.ndim != 2 or whole.shape[0] < 2 or whole.shape[1] < 2:
        raise ValueError(
            f"{whole.shape[0]} positions measured in all of {values.shape[1]} takes; need 2 of each"
        )
    n_parts, n_trials = whole.shape
    within = float(np.mean(np.var(whole, axis=1, ddof=1)))
    between = float(np.var(np.mean(whole, axis=1), ddof=1)) - within / n_trials
    repeatability, parts = float(np.sqrt(within)), float(np.sqrt(max(between, 0.0)))
    total = float(np.hypot(repeatability, parts))
    percent = 100.0 * repeatability / total if total > 0.0 else 0.0
    grade: Literal["good", "conditional", "not fit"] = "not fit"
    if percent <= GOOD_PERCENT:
        grade = "good"
    elif percent <= CONDITIONAL_PERCENT:
        grade = "conditional"
    return GaugeStudy(
        n_parts=n_parts,
        n_trials=n_trials,
        repeatability=repeatability,
        part_variation=parts,
        grr_percent=percent,
        ndc=distinct_categories(parts, repeatability),
        smallest_real_change=float(REAL_CHANGE_FACTOR * repeatability),
        grade=grade,
    )
