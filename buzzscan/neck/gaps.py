"""Places that were played, by the clock, and gave no note: a note choked at once is not heard.

Conventions
-----------
A run steps from fret to fret at a steady pace. Where a fret is missing between two notes that
follow each other in time, and the time of a note is missing with it, the pick was there and
nothing with a pitch came of it.

Limits
------
Only inside a run along a string. A fret that the player skips leaves no time behind; one over
which the player rests cannot be told from one that chokes, so a single pass is weak evidence.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import Place

__all__ = ["silent_passes"]

Run = tuple[int, int, str]
"""Recording, string and direction: each pass along a string has a pace of its own."""

_MOST_MISSING = 2
"""More missing frets than this in a row are a rest or a lost stretch of the recording."""
_FEWEST_STEPS = 3
"""Steps from fret to fret that tell the pace of a run."""
_SHORTEST_STEP_S = 0.05
_STEADY = 0.35
"""The time from note to note agrees with so many steps within this share of one."""


def silent_passes(notes: Sequence[MeasuredNote]) -> Mapping[Place, int]:
    """Return how many passes had time for a note at a place and gave none.

    Parameters
    ----------
    notes
        All measured notes, in any order.
    """
    found: Counter[Place] = Counter()
    in_time = sorted((n.note for n in notes), key=lambda n: (n.recording, n.onset_s))
    steps = [
        (a, b)
        for a, b in pairwise(in_time)
        if (a.recording, a.string, a.direction) == (b.recording, b.string, b.direction)
    ]
    paces: dict[Run, list[float]] = defaultdict(list)
    for a, b in steps:
        if abs(b.fret - a.fret) == 1:
            paces[a.recording, a.string, a.direction].append(b.onset_s - a.onset_s)
    for a, b in steps:
        stride = abs(b.fret - a.fret)
        own = paces[a.recording, a.string, a.direction]
        if len(own) < _FEWEST_STEPS or not 2 <= stride <= 1 + _MOST_MISSING:
            continue
        pace_s = max(float(np.median(own)), _SHORTEST_STEP_S)
        if abs((b.onset_s - a.onset_s) / pace_s - stride) <= _STEADY:
            low, high = sorted((a.fret, b.fret))
            found.update((a.string, fret) for fret in range(low + 1, high))
    return found
