"""Reports are found and put in the order of their takes."""

from __future__ import annotations

import dataclasses
import os
from pathlib import Path

import pytest

from buzzscan.errors import ComparisonError, UnreadableFileError
from buzzscan.reports import Report, holder_of, in_order, reports_in
from buzzscan.scanfile import write_scan_json
from buzzscan.scanning import Scan

HOUR_S = 3600.0


def make(
    scan: Scan,
    label: str,
    *,
    date: str = "",
    recorded_s: float | None = None,
    scanned_s: float = 0.0,
) -> Report:
    dated = dataclasses.replace(scan, guitar=dataclasses.replace(scan.guitar, date=date))
    return Report(label=label, scan=dated, recorded_s=recorded_s, scanned_s=scanned_s)


def told(*reports: Report) -> tuple[list[str], str]:
    ordered, why = in_order(sorted(reports, key=lambda r: r.label))
    return [r.label for r in ordered], why


def test_dates_come_first(neck_scan: Scan) -> None:
    labels, why = told(
        make(neck_scan, "a", date="2026-03-14", recorded_s=0.0),
        make(neck_scan, "b", date="2025-11-02", recorded_s=9 * HOUR_S),
    )
    assert labels == ["b", "a"]
    assert why == "in the order of the dates in their guitar files"


def test_takes_of_one_day_go_by_their_times(neck_scan: Scan) -> None:
    labels, why = told(
        make(neck_scan, "after", date="2026-03-14", scanned_s=9 * HOUR_S),
        make(neck_scan, "before", date="2026-03-14", scanned_s=8 * HOUR_S),
        make(neck_scan, "first", date="2025-03-14", scanned_s=10 * HOUR_S),
    )
    assert labels == ["first", "before", "after"]
    assert "the dates in their guitar files, then in the order in which they were scanned" in why


def test_a_date_that_is_missing_leaves_the_times(neck_scan: Scan) -> None:
    labels, why = told(
        make(neck_scan, "a", date="2026-03-14", recorded_s=2 * HOUR_S),
        make(neck_scan, "b", recorded_s=1 * HOUR_S),
    )
    assert labels == ["b", "a"]
    assert "by the time of the sound files" in why


def test_sound_files_copied_together_say_nothing(neck_scan: Scan) -> None:
    # Their times are nearer to each other than a take is long: one recorder cannot have made
    # both. The scans were made one after the other.
    length_s = max(r.duration_s for r in neck_scan.recordings)
    labels, why = told(
        make(neck_scan, "after", recorded_s=100.0, scanned_s=60.0),
        make(neck_scan, "before", recorded_s=100.0 + 0.5 * length_s, scanned_s=50.0),
    )
    assert labels == ["before", "after"]
    assert "by the time of scan.json" in why


def test_where_no_time_tells_the_names_do(neck_scan: Scan) -> None:
    labels, why = told(
        make(neck_scan, "2026-01", scanned_s=50.1),
        make(neck_scan, "2026-02", scanned_s=50.0),
    )
    assert labels == ["2026-01", "2026-02"]
    assert why == "in the order of their folders' names"


def test_reports_are_found_on_disk(neck_scan: Scan, after_scan: Scan, tmp_path: Path) -> None:
    for label, scan, time_s in (("before", neck_scan, 1000.0), ("after", after_scan, 2000.0)):
        (tmp_path / label).mkdir()
        path = write_scan_json(scan, tmp_path / label / "scan.json")
        os.utime(path, (time_s, time_s))
    (tmp_path / "before-to-after").mkdir()  # holds no scan
    reports, why = reports_in([tmp_path])
    assert [r.label for r in reports] == ["before", "after"]
    assert "scanned" in why
    given = [tmp_path / "after", tmp_path / "before" / "scan.json"]
    reports, why = reports_in(given)
    assert [r.label for r in reports] == ["after", "before"]
    assert why == "in the order given"
    (alone,), why = reports_in([tmp_path / "before"])
    assert (alone.label, why) == ("before", "")
    assert holder_of([tmp_path]) == tmp_path
    for paths in (given, given[1:], given[:1]):
        assert holder_of(paths) == tmp_path


def test_where_there_is_nothing_the_next_step_is_said(tmp_path: Path) -> None:
    with pytest.raises(ComparisonError, match=r"no report in .*give the folder that holds"):
        reports_in([tmp_path])
    with pytest.raises(UnreadableFileError, match="give the folder that holds the reports"):
        reports_in([tmp_path / "gone"])
