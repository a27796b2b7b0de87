"""Notes that stop by themselves long before their neighbours do: a choke, or a hand.

Conventions
-----------
Seconds. Lengths run from onset to end as the note-finder heard them.

Limits
------
A note that a hand cuts short sounds the same. Two passes that both stop speak for the neck; one
alone is worth playing again. In a run too fast for a string to ring nothing can be said.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise
from statistics import median

from buzzscan.measures.measured import MeasuredNote

__all__ = ["CHOKES_WITHIN_S", "stopped_early"]

CHOKES_WITHIN_S = 0.25
"""A choke dies within 0.1–0.2 s (common practice, no source)."""
_NEIGHBOURS_RING = 3.0
"""How many times as long the string's other notes ring."""
_SILENCE = 2.0
"""How many times its length must pass until the next pick: it was not left for the next note."""


def stopped_early(notes: Sequence[MeasuredNote]) -> dict[int, tuple[float, float]]:
    """Return notes that stop early: id to its own length and the usual one on its string.

    Parameters
    ----------
    notes
        All notes of a scan, in any order.
    """
    lengths = defaultdict(list)
    for n in notes:
        lengths[n.note.string].append(n.note.end_s - n.note.onset_s)
    ordered = sorted(notes, key=lambda n: (n.note.recording, n.note.onset_s))
    early = {}
    for n, following in pairwise(ordered):  # nobody knows about the last
        length, usual = n.note.end_s - n.note.onset_s, median(lengths[n.note.string])
        if following.note.recording != n.note.recording:
            continue
        until_next = following.note.onset_s - n.note.onset_s
        if (
            length <= CHOKES_WITHIN_S
            and usual >= _NEIGHBOURS_RING * length
            and until_next >= (1.0 + _SILENCE) * length
        ):
            early[n.note.id] = (length, usual)
    return early
