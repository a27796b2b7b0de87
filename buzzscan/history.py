"""One guitar over time: a line for every scan.

Conventions
-----------
Scans run oldest first, in the order they are given.

Limits
------
Whoever collects the scans gives each its label, and says what their order rests on.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from buzzscan.comparison import compare, finding_words
from buzzscan.errors import ComparisonError
from buzzscan.scanning import Scan

__all__ = ["History", "HistoryLine", "history"]


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryLine:
    """One scan of the history.

    Parameters
    ----------
    label
        What it is called, usually its folder.
    date
        When the take was played, as the guitar file says; empty when not known.
    n_judged
        Positions judged.
    clean, slight, buzz, choked
        How many positions got each verdict on buzz.
    short, dead
        How many got each of these on sustain, whatever their buzz.
    worst
        Positions with the most buzz, as (string, fret, dB), at most three.
    findings
        Causes in words, most likely first.
    change
        Against the line before; empty on the first.
    """

    label: str
    date: str
    n_judged: int
    clean: int
    slight: int
    buzz: int
    choked: int
    short: int
    dead: int
    worst: tuple[tuple[int, int, float], ...]
    findings: tuple[str, ...]
    change: str


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Scans of one guitar over time.

    Parameters
    ----------
    name
        Name of the guitar.
    order
        What the order rests on, in words.
    lines
        Oldest first.
    """

    name: str
    order: str
    lines: tuple[HistoryLine, ...]


def history(scans: Sequence[tuple[str, Scan]], *, order: str = "") -> History:
    """Return a line for every scan, each compared with the one before.

    Parameters
    ----------
    scans
        (label, scan), oldest first, at least one.
    order
        What that order rests on, in words.

    Raises
    ------
    ComparisonError
        If there is no scan, or two of them are of different guitars.
    """
    if not scans:
        raise ComparisonError("no scan to show; give the scans of one guitar, oldest first")
    lines = []
    before: tuple[str, Scan] | None = None
    for label, scan in scans:
        change = ""
        if before is not None:
            try:
                change = compare(before[1], scan).summary
            except ComparisonError as error:
                raise ComparisonError(f"{before[0]} and {label}: {error}") from error
        lines.append(_line(label, scan, change))
        before = (label, scan)
    return History(name=scans[-1][1].guitar.name, order=order, lines=tuple(lines))


def _line(label: str, scan: Scan, change: str) -> HistoryLine:
    words = Counter(p.buzz for p in scan.positions)
    loud = sorted(
        (
            (p.string, p.fret, p.buzz_db)
            for p in scan.positions
            if p.buzz in {"buzz", "choked"} and p.buzz_db is not None
        ),
        key=lambda row: -row[2],
    )
    return HistoryLine(
        label=label,
        date=scan.guitar.date,
        n_judged=sum(p.buzz is not None for p in scan.positions),
        clean=words["clean"],
        slight=words["slight"],
        buzz=words["buzz"],
        choked=words["choked"],
        short=sum(p.sustain == "short" for p in scan.positions),
        dead=sum(p.sustain == "dead" for p in scan.positions),
        worst=tuple(loud[:3]),
        findings=tuple(finding_words(f, scan) for f in scan.findings),
        change=change,
    )
