"""Before and after: what a piece of work on the neck changed, position by position.

Conventions
-----------
`compare` takes two scans of one guitar, before first. Changes are after minus before (levels,
cents) or after over before (sustain). A change counts only beyond the spread of the passes, and
a cure only where the after take was picked about as hard.

Limits
------
The two takes have to be of one guitar in one tuning; whether it was the same player and pick is
not asked.
"""

from buzzscan.comparison.causes import same_cause
from buzzscan.comparison.comparing import compare
from buzzscan.comparison.lost import lost_positions
from buzzscan.comparison.result import (
    Change,
    ComparedFinding,
    ComparedPosition,
    Comparison,
    Pick,
    Strength,
    StringStrength,
)
from buzzscan.comparison.sameness import same_recordings
from buzzscan.comparison.wording import finding_words, place_words

__all__ = [
    "Change",
    "ComparedFinding",
    "ComparedPosition",
    "Comparison",
    "Pick",
    "Strength",
    "StringStrength",
    "compare",
    "finding_words",
    "lost_positions",
    "place_words",
    "same_cause",
    "same_recordings",
]
