"""Measures of a scan by place, from the notes that count.

Conventions
-----------
A place is (string, fret). Where a place has several notes, their middle stands for it.

Limits
------
A place none of whose notes has the measure is left out.
"""

from __future__ import annotations

from collections.abc import Callable
from statistics import median

from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import Place, by_position, contact_on_the_whole, judged_notes
from buzzscan.neck.verdict import Position
from buzzscan.scanning import Scan

__all__ = [
    "EITHER_WAY",
    "contacts_of",
    "judged_of",
    "middle_contact",
    "middles",
    "passes_strike",
    "values_by_place",
]

EITHER_WAY = 0.5
"""A pass below this contradicts one above."""

Measure = Callable[[MeasuredNote], float | None]


def values_by_place(scan: Scan, measure: Measure) -> dict[Place, list[float]]:
    """Return a measure of the judged notes of each place that has it."""
    found = {}
    for place, notes in by_position(judged_notes(scan.notes)).items():
        values = [v for v in map(measure, notes) if v is not None]
        if values:
            found[place] = values
    return found


def middles(scan: Scan, measure: Measure) -> dict[Place, float]:
    """Return the middle of a measure at each place that has it."""
    return {place: median(values) for place, values in values_by_place(scan, measure).items()}


def judged_of(scan: Scan, position: Position) -> list[MeasuredNote]:
    """Return the judged notes of a position."""
    ids = set(position.notes)
    return [n for n in judged_notes(scan.notes) if n.note.id in ids]


def contacts_of(scan: Scan, position: Position) -> list[float]:
    """Return the probability of contact of each pass of a position that has it."""
    return [n.contact for n in judged_of(scan, position) if n.contact is not None]


def middle_contact(scan: Scan, position: Position) -> float:
    """Return the probability of contact over all passes: the mean of their log odds.

    A verdict on a neck is by the pass that strikes most surely; what became of it between two takes
    is told from places that strike, or do not, in whichever pass.
    """
    return contact_on_the_whole(contacts_of(scan, position)) or 0.0


def passes_strike(scan: Scan, position: Position) -> bool:
    """Return whether no pass of a place that strikes contradicts it."""
    return all(c >= EITHER_WAY for c in contacts_of(scan, position))
