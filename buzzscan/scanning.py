"""The whole way from recordings to a judged neck.

Conventions
-----------
`scan` returns a frozen `Scan`: every output is made from it and from nothing else.

Limits
------
Reading, finding, measuring and judging live in their own modules; this one only joins them.
"""

from __future__ import annotations

from dataclasses import dataclass

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import Bars, Finding, Position
from buzzscan.recording import Recording

__all__ = ["Scan"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """One judged neck.

    Parameters
    ----------
    recordings
        What was listened to; `MeasuredNote.note.recording` indexes it.
    guitar
        The instrument, as given or as found.
    tuning_found
        True when the tuning was found from the recordings.
    offset_cents
        How far the instrument as a whole lies from its nominal pitch.
    remarks
        Sentences for the user about the search.
    bars
        The bars the verdicts were set by.
    notes, positions, findings
        Results.
    """

    recordings: tuple[Recording, ...]
    guitar: Guitar
    tuning_found: bool
    offset_cents: float
    remarks: tuple[str, ...]
    bars: Bars
    notes: tuple[MeasuredNote, ...]
    positions: tuple[Position, ...]
    findings: tuple[Finding, ...]
