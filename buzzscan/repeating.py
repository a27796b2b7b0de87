"""Repeated takes of one guitar: what change is real on this bench.

Conventions
-----------
Each measure is studied over the positions that every take has; buzz over those that strike in
every take, because what is measured of a clean note is the recording's own noise; pitch over
those that do not choke, because a string that rests on the next fret sounds that fret's note.

Limits
------
The guitar must not be touched between the takes. One player, one pick, one recorder: another
bench has another spread.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from buzzscan.comparison import Change, compare
from buzzscan.comparison.sameness import refuse_other_guitar
from buzzscan.errors import ComparisonError
from buzzscan.measures.measured import MeasuredNote
from buzzscan.measures.repeatability import GaugeStudy, gauge_study
from buzzscan.neck.positions import by_position, judged_notes
from buzzscan.neck.verdict import Position, tells_contact
from buzzscan.scanning import Scan

__all__ = ["RepeatLine", "Repeatability", "repeat"]

FEWEST_TAKES = 2
STATES: tuple[Change, ...] = ("cured", "better", "worse", "new")
FEWEST_CHANGED = 2
"""A comparison lets one of a hundred untouched positions seem changed (`comparison.spread`), so
one alone may be chance."""
NEEDS_DIFFERENCE = "contact"
"""A probability is near 0 or near 1: over a neck where all positions have the same, what it
varies by there says nothing of a neck where some strike."""
Read = Callable[[Position, Sequence[MeasuredNote]], float | None]


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
    remarks
        Sentences on takes that were not alike: picked otherwise, or of another state.
    """

    n_takes: int
    agreement_ratio: float | None
    lines: tuple[RepeatLine, ...]
    remarks: tuple[str, ...] = ()


def _cents(position: Position, _: Sequence[MeasuredNote]) -> float | None:
    return None if position.buzz == "choked" else position.cents


def _buzz(position: Position, _: Sequence[MeasuredNote]) -> float | None:
    return position.buzz_db if tells_contact(position.buzz) else None


def _buzz_amp(position: Position, _: Sequence[MeasuredNote]) -> float | None:
    return position.buzz_amp_db if tells_contact(position.buzz) else None


def _stiffness(_: Position, notes: Sequence[MeasuredNote]) -> float | None:
    values = [n.inharmonicity for n in notes if n.inharmonicity is not None]
    return 1e6 * median(values) if values else None


def _contact(position: Position, _: Sequence[MeasuredNote]) -> float | None:
    return None if position.contact is None else 100.0 * position.contact


def _attack(_: Position, notes: Sequence[MeasuredNote]) -> float | None:
    return median(n.attack_dbfs for n in notes) if notes else None


MEASURES: tuple[tuple[str, str, Read], ...] = (
    ("pitch", "cents", _cents),
    ("stiffness", "ppm", _stiffness),
    ("decay", "dB/s", lambda p, _: p.decay_db_per_s),
    ("buzz", "dB", _buzz),
    ("by amp", "dB", _buzz_amp),
    ("contact", "%", _contact),
    ("attack", "dB", _attack),
)
"""Name, unit and how it is read from a position and its judged notes. Stiffness is the
inharmonicity B in parts per million."""


def repeat(scans: Sequence[Scan]) -> Repeatability:
    """Return how well repeated takes of one guitar agree.

    Parameters
    ----------
    scans
        At least two, of one instrument in one tuning.

    Raises
    ------
    ComparisonError
        If there are fewer than two, two hold the same recording, or the guitars differ.
    """
    _refuse(scans)
    tables = [{(p.string, p.fret): p for p in s.positions} for s in scans]
    places = sorted(set.intersection(*(set(t) for t in tables)))
    notes = [by_position(judged_notes(s.notes)) for s in scans]
    lines = []
    for measure, unit, read in MEASURES:
        rows = [
            [
                read(table[place], own.get(place, ()))
                for table, own in zip(tables, notes, strict=True)
            ]
            for place in places
        ]
        values = np.array([[np.nan if v is None else v for v in row] for row in rows], np.float64)
        study, reason = None, ""
        try:
            study = gauge_study(values.reshape(len(places), len(scans)))
        except ValueError:
            n_whole = int(np.isfinite(values).all(axis=1).sum())
            reason = f"not studied: {n_whole} positions have it in every take, need 2"
        if study is not None and measure == NEEDS_DIFFERENCE and study.part_variation <= 0.0:
            study, reason = None, "not studied: the positions do not differ in it"
        lines.append(RepeatLine(measure=measure, unit=unit, study=study, reason=reason))
    words = [[table[place].buzz for table in tables] for place in places]
    judged = [row for row in words if None not in row]
    agreement = sum(len(set(row)) == 1 for row in judged) / len(judged) if judged else None
    return Repeatability(
        n_takes=len(scans),
        agreement_ratio=agreement,
        lines=tuple(lines),
        remarks=_remarks(scans),
    )


def _refuse(scans: Sequence[Scan]) -> None:
    if len(scans) < FEWEST_TAKES:
        raise ComparisonError(
            f"{len(scans)} take to repeat, need {FEWEST_TAKES}; three or more tell more"
        )
    seen: dict[str, int] = {}
    for number, scan in enumerate(scans, 1):
        refuse_other_guitar(scans[0].guitar, scan.guitar)
        for recording in scan.recordings:
            other = seen.setdefault(recording.sha256, number)
            if other != number:
                raise ComparisonError(
                    f"takes {other} and {number} hold the same recording ({recording.name}); "
                    "play and record the run anew for each take"
                )


def _remarks(scans: Sequence[Scan]) -> tuple[str, ...]:
    """Return which takes were not played like the first, or are of another state."""
    remarks = []
    for number, scan in enumerate(scans[1:], 2):
        try:
            told = compare(scans[0], scan)
        except ComparisonError:
            remarks.append(f"Take {number} has no position in common with take 1.")
            continue
        changed = Counter(p.change for p in told.positions)
        said = [f"{changed[word]} {word}" for word in STATES if changed[word]]
        if sum(changed[word] for word in STATES) >= FEWEST_CHANGED:
            remarks.append(
                f"Take {number} is of another state than take 1 ({', '.join(said)}): what was "
                "done between them is in the spread. Give takes of one untouched guitar; use "
                "compare for before and after."
            )
        elif told.strength.pick != "alike":
            remarks.append(
                f"Take {number} was not played like take 1 "
                f"({told.strength.level_change_db:+.1f} dB); the spread holds for takes picked "
                "this unevenly."
            )
    return tuple(remarks)
