"""Weights of the cues of contact.

Conventions
-----------
Slopes are per dB of a cue (per neper where its logarithm is taken); a positive one speaks for
contact. Ranges keep one strange cue from deciding alone. Means are those of clean notes.

Limits
------
Cues overlap, so a single slope has no meaning of its own; only their sum has.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["FIRST", "FIRST_BIAS", "SECOND", "SECOND_BIAS", "Weight"]


class Weight(NamedTuple):
    """How one cue counts: its name, third, range, mean among clean notes, and slope."""

    cue: str
    third: int | None
    low: float
    high: float
    mean: float
    slope: float
    logarithm: bool = False


FIRST: tuple[Weight, ...] = (
    Weight("fresh_db", 0, -40.0, 0.0, -26.0, 0.1620),
    Weight("fresh_db", 1, -40.0, 0.0, -22.3, 0.1272),
    Weight("fresh_db", 2, -40.0, 0.0, -13.7, 0.0638),
    Weight("fresh_line_db", 0, -40.0, 0.0, -24.1, -0.1557),
    Weight("fresh_line_db", 1, -40.0, 0.0, -20.1, 0.1158),
    Weight("fresh_share_db", 0, -75.0, 0.0, -42.1, 0.1179),
    Weight("fresh_share_db", 1, -75.0, 0.0, -48.3, -0.0127),
    Weight("fresh_line_low_db", None, -45.0, 0.0, -26.9, -0.0495),
    Weight("fresh_line_held_db", 0, -40.0, 0.0, -24.9, 0.0323),
    Weight("fresh_line_held_db", 1, -40.0, 0.0, -18.7, -0.0812),
    Weight("late_db", 1, -75.0, 0.0, -33.3, 0.0296),
    Weight("rough_db", 0, -2.3, 1.8, -1.3, -0.0609, logarithm=True),
)
FIRST_BIAS = -6.3941
SECOND: tuple[Weight, ...] = (
    Weight("fresh_db", 0, -40.0, 0.0, -26.0, 0.0428),
    Weight("fresh_db", 1, -40.0, 0.0, -22.3, 0.0237),
    Weight("fresh_db", 2, -40.0, 0.0, -13.7, 0.0214),
    Weight("fresh_line_db", 0, -40.0, 0.0, -24.1, -0.0092),
    Weight("fresh_line_db", 1, -40.0, 0.0, -20.1, 0.0751),
    Weight("fresh_share_db", 0, -75.0, 0.0, -42.1, 0.0380),
    Weight("fresh_share_db", 1, -75.0, 0.0, -48.3, 0.0039),
    Weight("fresh_line_low_db", None, -45.0, 0.0, -26.9, 0.0381),
    Weight("fresh_line_held_db", 0, -40.0, 0.0, -24.9, 0.0793),
    Weight("fresh_line_held_db", 1, -40.0, 0.0, -18.7, -0.0770),
    Weight("late_db", 1, -75.0, 0.0, -33.3, 0.0004),
    Weight("rough_db", 0, -2.3, 1.8, -1.3, -0.6949, logarithm=True),
    Weight("fresh_db", 0, -40.0, 0.0, -26.0, 0.0343),
    Weight("fresh_db", 1, -40.0, 0.0, -22.3, -0.0342),
    Weight("fresh_db", 2, -40.0, 0.0, -13.7, 0.0200),
    Weight("fresh_line_db", 0, -40.0, 0.0, -24.1, 0.0161),
    Weight("fresh_line_db", 1, -40.0, 0.0, -20.1, 0.2194),
    Weight("fresh_share_db", 0, -75.0, 0.0, -42.1, 0.0955),
    Weight("fresh_share_db", 1, -75.0, 0.0, -48.3, -0.0516),
    Weight("fresh_line_low_db", None, -45.0, 0.0, -26.9, 0.0091),
    Weight("fresh_line_held_db", 0, -40.0, 0.0, -24.9, -0.1086),
    Weight("fresh_line_held_db", 1, -40.0, 0.0, -18.7, 0.0698),
    Weight("late_db", 1, -75.0, 0.0, -33.3, -0.0123),
    Weight("rough_db", 0, -2.3, 1.8, -1.3, 0.8738, logarithm=True),
)
"""First each cue itself, then its excess over the trend of the take."""
SECOND_BIAS = -6.3009
