"""Text on paper fits its column, whatever it is, and pages fill from the top."""

from __future__ import annotations

import io
import warnings

import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buzzscan.report.sheet import WIDTH, Sheet
from buzzscan.report.typesetting import BODY, LABEL, Face, fitting, printable, width_of, wrapped


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=200), st.sampled_from([BODY, LABEL]), st.floats(40.0, 400.0))
def test_no_line_is_wider_than_its_column(text: str, face: Face, width: float) -> None:
    for line in wrapped(text, width, 10.0, face):
        # Kerning between the words of a line may move it by a fraction of a point.
        assert not line or 10.0 * width_of(line, face, bold=False) <= width + 1.0


def test_words_keep_their_order() -> None:
    text = "the quick brown fox jumps over the lazy dog " * 5
    lines = wrapped(text.strip(), 120.0, 10.0, BODY)
    assert " ".join(lines) == text.strip()
    assert len(lines) > 5


def test_cut_text_says_so() -> None:
    assert fitting("short", 100.0, 8.0, LABEL) == "short"
    cut = fitting("a rather long name of a take.wav", 60.0, 8.0, LABEL)
    assert cut.endswith("…")
    assert 8.0 * width_of(cut, LABEL, bold=False) <= 60.0


def test_signs_without_a_glyph_are_shown_as_boxes() -> None:
    assert printable("E♭ 弦\n\x07", "sans").startswith("E♭ □")


def test_hostile_text_is_set_without_a_warning() -> None:
    sheet = Sheet("$x^2$ 弦 \\frac")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        sheet.paragraph("$\\alpha$ 弦 price $5 and $6 " + "x" * 300)
        data = sheet.pdf()
    text = pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text()
    assert "$5 and $6" in text, "money is no formula"


def test_paragraphs_and_tables_run_over_pages() -> None:
    sheet = Sheet("long")
    for _ in range(40):
        sheet.paragraph("some text of a length that takes more than one line on this page " * 4)
    rows = [(str(i), "name") for i in range(150)]
    sheet.table(("n", "name"), rows, (6, 20))
    reader = pypdf.PdfReader(io.BytesIO(sheet.pdf()))
    assert len(reader.pages) == sheet.n_pages >= 4
    text = "\n".join(page.extract_text() for page in reader.pages)
    assert f"{sheet.n_pages} of {sheet.n_pages}" in text
    numbers = {line.split()[0] for line in text.splitlines() if line.strip().endswith("name")}
    assert numbers >= {str(i) for i in range(150)}


def test_pages_are_a4_and_hold_no_date() -> None:
    sheet = Sheet("title")
    reader = pypdf.PdfReader(io.BytesIO(sheet.pdf()))
    box = reader.pages[0].mediabox
    # ISO 216: 210 mm × 297 mm.
    assert (float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4) == (
        pytest.approx(210.0, abs=0.1),
        pytest.approx(297.0, abs=0.1),
    )
    assert reader.metadata is not None
    assert reader.metadata.title == "title"
    assert "/CreationDate" not in reader.metadata
    assert float(box.width) > WIDTH
