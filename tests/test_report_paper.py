"""The printed sheet holds the whole report."""

from __future__ import annotations

import io
from pathlib import Path

import pypdf
from PIL import Image

from buzzscan.report.texts import CAUTIONS
from buzzscan.report.view import view_of
from buzzscan.scanning import Scan


def test_sheet_holds_findings_notes_method_and_cautions(written: Path, neck_scan: Scan) -> None:
    reader = pypdf.PdfReader(io.BytesIO((written / "report.pdf").read_bytes()))
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    view = view_of(neck_scan)
    for finding in view.findings:
        assert finding.summary.replace("\u00a0", " ") in text
        assert finding.next_step.replace("\u00a0", " ") in text
    for _, explained in view.method:
        assert explained.replace("\u00a0", " ") in text.replace("\u00a0", " ")
    for caution in CAUTIONS:
        assert caution in text
    for note in view.notes:
        assert note.columns[0] in text
    assert "hum at 50 Hz" in text
    first, clean = view.findings[0].keys[0], view.positions[view.findings[0].keys[0]].neighbour
    assert clean is not None
    assert f"{view.positions[first].title} clean neighbour: {view.positions[clean].title}" in text


def test_picture_of_the_neck_shows_the_colours_of_its_verdicts(written: Path) -> None:
    picture = Image.open(written / "neck.png").convert("RGB")
    assert 1000 <= picture.width <= 1600
    colours = {colour for _, colour in picture.getcolors(maxcolors=1 << 20) or []}
    for fill in ("#dd8436", "#611d45", "#1c4c70", "#d9bb55"):
        assert tuple(bytes.fromhex(fill[1:])) in colours
