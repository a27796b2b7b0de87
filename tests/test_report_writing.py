"""The report is written whole, the same bytes each time, and loads nothing."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from buzzscan.errors import OutputError
from buzzscan.report import write_cued_wav, write_labels, write_report
from buzzscan.report.writing import Audience
from buzzscan.scanning import Scan

BENCH = ["report.html", "report.pdf", "neck.png", "notes.csv"]
CUSTOMER = ["customer.html", "customer.pdf"]


def test_same_scan_gives_the_same_bytes(neck_scan: Scan, written: Path, tmp_path: Path) -> None:
    paths = write_report(neck_scan, tmp_path, audience="both")
    assert [path.name for path in paths] == BENCH + CUSTOMER
    for path in paths:
        assert path.read_bytes() == (written / path.name).read_bytes(), path.name


@pytest.mark.parametrize(("audience", "names"), [("bench", BENCH), ("customer", CUSTOMER)])
def test_each_audience_gets_its_files(
    neck_scan: Scan,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    audience: Audience,
    names: list[str],
) -> None:
    for slow in ("bench_pdf", "customer_pdf", "neck_png"):
        monkeypatch.setattr(f"buzzscan.report.writing.{slow}", lambda *_: b"")
    paths = write_report(neck_scan, tmp_path, audience=audience)
    assert [path.name for path in paths] == names


def test_missing_folder_is_an_output_error(neck_scan: Scan, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot write"):
        write_report(neck_scan, tmp_path / "absent", audience="customer")
    with pytest.raises(OutputError, match="cannot write"):
        write_labels(neck_scan, tmp_path / "absent")
    with pytest.raises(OutputError, match="cannot write"):
        write_cued_wav(neck_scan, tmp_path / "absent")


@pytest.mark.parametrize("name", ["report.html", "customer.html"])
def test_no_address_leaves_the_page(written: Path, name: str) -> None:
    page = (written / name).read_text("utf-8")
    assert not re.findall(r"""(?:src|href)=["']?(?!#|data:)[^"'>\s]+""", page)
    assert "http" not in page.replace("http-equiv", "").replace("Http", "")


def test_scan_of_nothing_has_a_report(neck_scan: Scan, tmp_path: Path) -> None:
    nothing = replace(neck_scan, notes=(), positions=(), findings=())
    paths = write_report(nothing, tmp_path, audience="both")
    assert "No note could be judged" in paths[0].read_text("utf-8")


def test_marks_are_named_after_their_recordings(neck_scan: Scan, tmp_path: Path) -> None:
    names = [path.name for path in write_labels(neck_scan, tmp_path)]
    assert names == ["before take.labels.txt"]
    assert [path.name for path in write_cued_wav(neck_scan, tmp_path)] == ["before take.cues.wav"]
