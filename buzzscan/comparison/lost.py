"""Positions that were judged before and cannot be judged after.

Conventions
-----------
What is not heard is not taken for clean: a note that chokes can go unheard, and so can one that
was not played.

Limits
------
Which of the two it was, a recording does not tell.
"""

from __future__ import annotations

from collections.abc import Sequence

from buzzscan.comparison.result import ComparedPosition
from buzzscan.comparison.wording import counted
from buzzscan.spans import frets_named

__all__ = ["NOT_FOUND", "lost_positions", "lost_remark"]

NOT_FOUND = "not found: not played, or choked so that its note was not heard"
"""Said of a position that has no notes."""


def lost_positions(positions: Sequence[ComparedPosition]) -> tuple[ComparedPosition, ...]:
    """Return the positions whose buzz was judged before and is not after."""
    return tuple(p for p in positions if p.buzz_before is not None and p.buzz_after is None)


def lost_remark(positions: Sequence[ComparedPosition]) -> str:
    """Return a sentence that names every position that was lost; empty if none was."""
    lost = lost_positions(positions)
    if not lost:
        return ""
    by_reason: dict[str, dict[int, list[int]]] = {}
    for p in lost:
        reason = p.reason.removeprefix("after: ")
        by_reason.setdefault(reason, {}).setdefault(p.string, []).append(p.fret)
    said = [f"{_places(frets_of)} ({reason})" for reason, frets_of in by_reason.items()]
    return (
        f"Can't be judged: {counted(len(lost), 'position')} of the after take that could be "
        f"judged before: {'; '.join(said)}. Play and listen to them before the job is called done."
    )


def _places(frets_of: dict[int, list[int]]) -> str:
    return ", ".join(
        f"string {string} {frets_named(frets)}" for string, frets in sorted(frets_of.items())
    )
