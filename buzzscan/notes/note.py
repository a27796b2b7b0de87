"""What the search for notes returns.

Conventions
-----------
Results are frozen; what could not be told is None with a reason.

Limits
------
`Note.pitch_hz` is what placing needed, within a few cents; the measured pitch is in
`buzzscan.measures`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from buzzscan.guitar import Guitar

__all__ = ["Direction", "FoundNotes", "Note", "NoteFault"]

Direction = Literal["up", "down"]
NoteFault = Literal[
    "picked softly", "cut short", "buried", "picked again", "stands alone", "rings on"
]
"""What may be wrong with a note so that it must not count."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One note of the run.

    Parameters
    ----------
    id
        1, 2, 3 … in the order of recordings and onsets.
    recording
        Index of its recording within the scan.
    string, fret
        Place on the neck.
    direction
        Whether the run climbs or comes back down at this note.
    onset_s, end_s
        Seconds into the recording.
    pitch_hz
        First partial as the search heard it, or None if it was not heard well enough.
    placed
        Probability that string and fret are right, 0–1.
    judged
        False when the note must not count for its position, by what the search heard: what is
        measured of it may still count (`buzzscan.measures.measured`).
    reason
        Why it is not judged; empty when it is.
    faults
        What is wrong with it, as `reason` says it in words.
    """

    id: int
    recording: int
    string: int
    fret: int
    direction: Direction
    onset_s: float
    end_s: float
    pitch_hz: float | None
    placed: float
    judged: bool
    reason: str
    faults: tuple[NoteFault, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundNotes:
    """All notes of a scan and the instrument they were placed on.

    Parameters
    ----------
    notes
        In the order of recordings and onsets.
    guitar
        The instrument: as given, or as found from the recordings.
    tuning_found
        True when the tuning was found from the recordings.
    offset_cents
        How far the instrument as a whole lies from its nominal pitch, in cents.
    remarks
        Sentences for the user about the search (found tuning, offset, parts passed over).
    """

    notes: tuple[Note, ...]
    guitar: Guitar
    tuning_found: bool
    offset_cents: float
    remarks: tuple[str, ...]
