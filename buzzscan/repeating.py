"""Repeated takes of one guitar: what change is real on this bench.

Conventions
-----------
Each measure is studied over the positions that every take has.

Limits
------
The guitar must not be touched between the takes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from buzzscan.errors import ComparisonError
from buzzscan.measures.repeatability import GaugeStudy, gauge_study
from buzzscan.neck.verdict import Position
from buzzscan.scanning import Scan

__all__ = ["RepeatLine", "Repeatability", "repeat"]

FEWEST_TAKES = 2

MEASURES: tuple[tuple[str, str, Callable[[Position], float | None]], ...] = (
    ("pitch", "cents", lambda p: p.cents),
    ("decay", "dB/s", lambda p: p.decay_db_per_s),
    ("buzz", "dB", lambda p: p.buzz_db),
    ("contact", "probability", lambda p: p.contact),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatLine:
    """Repeatability of one measure.

    Parameters
    ----------
    measure, unit
        Its name and unit.
    study
        Result, None with `reason` when there was too little to study.
    reason
        Why there is none; empty otherwise.
    """

    measure: str
    unit: str
    study: GaugeStudy | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """Repeatability of every measure.

    Parameters
    ----------
    n_takes
        Takes that went in.
    agreement_ratio
        Share of positions that got the same buzz verdict in every take; None when no position
        was judged in all.
    lines
        One per measure.
    """

    n_takes: int
    agreement_ratio: float | None
    lines: tuple[RepeatLine, ...]


def repeat(scans: Sequence[Scan]) -> Repeatability:
    """Return how well repeated takes of one guitar agree.

    Parameters
    ----------
    scans
        At least two, of one instrument in one tuning.

    Raises
    ------
    ComparisonError
        If there are fewer than two, or the tunings differ.
    """
    if len(scans) < FEWEST_TAKES:
        raise ComparisonError(
            f"{len(scans)} take to repeat, need {FEWEST_TAKES}; three or more tell more"
        )
    if len({(s.guitar.tuning, s.guitar.frets, s.guitar.capo) for s in scans}) > 1:
        raise ComparisonError("the tunings or frets differ between the takes; repeat one guitar")
    tables = [{(p.string, p.fret): p for p in s.positions} for s in scans]
    places = sorted(set.intersection(*(set(t) for t in tables)))
    lines = []
    for measure, unit, read in MEASURES:
        rows = [[read(table[place]) for table in tables] for place in places]
        values = np.array([[np.nan if v is None else v for v in row] for row in rows], np.float64)
        try:
            study, reason = gauge_study(values.reshape(len(places), len(scans))), ""
        except ValueError as error:
            study, reason = None, str(error)
        lines.append(RepeatLine(measure=measure, unit=unit, study=study, reason=reason))
    words = [[table[place].buzz for table in tables] for place in places]
    judged = [row for row in words if None not in row]
    agreement = sum(len(set(row)) == 1 for row in judged) / len(judged) if judged else None
    return Repeatability(n_takes=len(scans), agreement_ratio=agreement, lines=tuple(lines))
