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
from buzzscan.neck.positions import Place, by_position, judged_notes
from buzzscan.scanning import Scan

__all__ = ["middles", "values_by_place"]

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
