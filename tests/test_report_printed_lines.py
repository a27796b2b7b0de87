"""Lines set without being measured look as matplotlib's own do."""

from __future__ import annotations

import io
from typing import Literal

import numpy as np
import pypdf
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties

from buzzscan.report.printed_lines import PrintedLines
from buzzscan.report.sheet import Sheet

LINES = ((0.1, 0.6, "6–9  E♭  buzz"), (0.1, 0.3, "AVA −12.5 dB"))
FACE = FontProperties(family="DejaVu Sans", size=14.0)


def drawn(figure: Figure, kind: str) -> bytes:
    buffer = io.BytesIO()
    metadata = {"CreationDate": None} if kind == "pdf" else None
    figure.savefig(buffer, format=kind, metadata=metadata)
    return buffer.getvalue()


@pytest.mark.parametrize("kind", ["pdf", "rgba"])
def test_as_matplotlib_sets_them(kind: str) -> None:
    ours, theirs = Figure(figsize=(4, 1), dpi=100), Figure(figsize=(4, 1), dpi=100)
    ours.add_artist(PrintedLines(LINES, FACE, "#9a3412"))
    for x, y, text in LINES:
        theirs.text(x, y, text, fontproperties=FACE, color="#9a3412", va="baseline")
    a, b = drawn(ours, kind), drawn(theirs, kind)
    if kind == "pdf":
        pages = [pypdf.PdfReader(io.BytesIO(data)).pages[0] for data in (a, b)]
        assert pages[0].extract_text() == pages[1].extract_text() != ""
        contents = [page.get_contents() for page in pages]
        assert contents[0] is not None
        assert contents[1] is not None
        assert contents[0].get_data() == contents[1].get_data()
    else:
        pictures = [np.frombuffer(data, np.uint8).astype(float) for data in (a, b)]
        assert np.corrcoef(*pictures)[0, 1] > 0.999
        assert pictures[0].min() < 128.0, "nothing is drawn"


def test_lines_need_a_figure() -> None:
    renderer = FigureCanvasAgg(Figure()).get_renderer()
    with pytest.raises(RuntimeError, match="no figure"):
        PrintedLines(LINES, FACE, "black").draw(renderer)


@pytest.mark.parametrize(("align", "before"), [("left", 0.0), ("center", 0.5), ("right", 1.0)])
def test_place_of_a_line(align: Literal["left", "center", "right"], before: float) -> None:
    sheet = Sheet("place")
    sheet.put(300.0, 100.0, "HHHH", size=20.0, face="sans", align=align)
    content = pypdf.PdfReader(io.BytesIO(sheet.pdf())).pages[0].get_contents()
    assert content is not None
    turns = [
        line.split() for line in content.get_data().decode("latin-1").splitlines() if "cm" in line
    ]
    # An H of this face is 0.752 of its size wide, with 0.1 of it empty on either side.
    start_pt = 300.0 - before * 4 * 0.752 * 20.0
    assert min(abs(float(turn[4]) - start_pt) for turn in turns if len(turn) == 7) < 2.5
