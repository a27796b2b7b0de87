"""The report is written whole, the same bytes each time, and loads nothing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from buzzscan.errors import OutputError
from buzzscan.report import write_report
from buzzscan.scanning import Scan


def test_bench_files_are_written_and_the_same_twice(neck_scan: Scan, tmp_path: Path) -> None:
    first, second = tmp_path / "a", tmp_path / "b"
    first.mkdir()
    second.mkdir()
    names = [path.name for path in write_report(neck_scan, first)]
    assert names == ["report.html", "report.pdf", "neck.png", "notes.csv"]
    for path in write_report(neck_scan, second):
        assert path.read_bytes() == (first / path.name).read_bytes(), path.name


def test_missing_folder_is_an_output_error(neck_scan: Scan, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot write"):
        write_report(neck_scan, tmp_path / "absent")


def test_no_address_leaves_the_page(neck_scan: Scan, tmp_path: Path) -> None:
    write_report(neck_scan, tmp_path)
    page = (tmp_path / "report.html").read_text("utf-8")
    assert not re.findall(r"""(?:src|href)=["']?(?!#|data:)[^"'>\s]+""", page)
    assert "http" not in page.replace("http-equiv", "")
