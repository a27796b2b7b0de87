"""Reports on disk: where they are, and in which order their takes were played.

Conventions
-----------
A report is a folder with a scan.json. What says when a take was played is asked in this order:
the dates in the guitar files, the times of the sound files, the times of the reports, the names
of the folders. The words for what decided come along, because none of them is proof.

Limits
------
Copying files can change their times. Times too near to each other to be those of takes, or of
scans, are taken for those of a copy and passed over.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from buzzscan.errors import ComparisonError, UnreadableFileError
from buzzscan.scanfile import SCAN_NAME, read_scan
from buzzscan.scanning import Scan

__all__ = ["Report", "holder_of", "in_order", "reports_in"]

GIVEN = "in the order given"
BY_NAME = "in the order of their folders' names"
BY_DATE = "in the order of the dates in their guitar files"
BY_RECORDING = "in the order in which they were recorded, by the time of the sound files"
BY_SCAN = "in the order in which they were scanned, by the time of scan.json"

SCANS_APART_S = 0.5
"""A scan takes longer than this; copied or unpacked files follow each other faster."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """One scan and when it came about.

    Parameters
    ----------
    label
        Name of its folder.
    scan
        What it holds.
    recorded_s
        Time of its newest sound file, seconds since 1970; None where one is gone.
    scanned_s
        Time of its scan.json.
    """

    label: str
    scan: Scan
    recorded_s: float | None
    scanned_s: float


def reports_in(paths: Sequence[Path]) -> tuple[tuple[Report, ...], str]:
    """Return reports in the order of their takes, and what that order rests on, in words.

    Parameters
    ----------
    paths
        One folder that holds reports, or the reports themselves: these stay in the order given.

    Raises
    ------
    UnreadableFileError
        If a folder or a report cannot be read.
    ScanFileError
        If a scan.json does not hold a scan.
    ComparisonError
        If there is no report.
    """
    folder = paths[0]
    if len(paths) > 1 or folder.suffix == ".json" or (folder / SCAN_NAME).is_file():
        return tuple(_report(path) for path in paths), GIVEN if len(paths) > 1 else ""
    try:
        found = sorted(p for p in folder.iterdir() if (p / SCAN_NAME).is_file())
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the path
        raise UnreadableFileError(
            f"cannot read {folder}: {getattr(error, 'strerror', None) or error}; give the folder "
            "that holds the reports"
        ) from error
    if not found:
        raise ComparisonError(
            f"no report in {folder}; give the folder that holds the reports of one guitar, or "
            "the reports themselves, oldest first"
        )
    return in_order([_report(path) for path in found])


def holder_of(paths: Sequence[Path]) -> Path:
    """Return the folder that holds the reports that are meant by these paths."""
    first = paths[0]
    if first.suffix == ".json":
        return first.absolute().parent.parent
    alone = len(paths) == 1 and not (first / SCAN_NAME).is_file()
    return first if alone else first.absolute().parent


def in_order(reports: Sequence[Report]) -> tuple[tuple[Report, ...], str]:
    """Return reports oldest first, and what that order rests on, in words.

    Parameters
    ----------
    reports
        In the order of their names.
    """
    if len(reports) == 1:
        return tuple(reports), ""
    by_time, why = _by_time(reports)
    dates = {r.scan.guitar.date for r in reports}
    if "" in dates or len(dates) == 1:
        return by_time, why
    by_date = tuple(sorted(by_time, key=lambda r: r.scan.guitar.date))  # the sort is stable
    return by_date, BY_DATE if len(dates) == len(reports) else f"{BY_DATE}, then {why}"


def _by_time(reports: Sequence[Report]) -> tuple[tuple[Report, ...], str]:
    """Return reports by the times of their files, as far as these can be what they seem."""
    recorded = [(r.recorded_s, _length_s(r)) for r in reports if r.recorded_s is not None]
    ends = sorted(recorded)
    # One recorder plays no two takes at once: an end comes a whole take after the one before.
    if len(ends) == len(reports) and all(b[0] - a[0] >= b[1] for a, b in pairwise(ends)):
        return tuple(sorted(reports, key=lambda r: r.recorded_s or 0.0)), BY_RECORDING
    scanned = sorted(r.scanned_s for r in reports)
    if all(b - a >= SCANS_APART_S for a, b in pairwise(scanned)):
        return tuple(sorted(reports, key=lambda r: r.scanned_s)), BY_SCAN
    return tuple(reports), BY_NAME


def _length_s(report: Report) -> float:
    return max((r.duration_s for r in report.scan.recordings), default=0.0)


def _report(path: Path) -> Report:
    scan = read_scan(path)
    where = path if path.suffix == ".json" and not path.is_dir() else path / SCAN_NAME
    times = [_time_s(r.path) for r in scan.recordings]
    known = [time for time in times if time is not None]
    return Report(
        label=where.absolute().parent.name,
        scan=scan,
        recorded_s=max(known) if known and len(known) == len(times) else None,
        scanned_s=_time_s(where) or 0.0,
    )


def _time_s(path: str | os.PathLike[str] | None) -> float | None:
    """Return when a file was last written, None where it is not there."""
    if path is None:
        return None
    try:
        return Path(path).stat().st_mtime
    except (OSError, ValueError):
        return None
