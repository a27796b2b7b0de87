"""Paper: text, maps and tables set on A4 pages with matplotlib's PDF writer.

Conventions
-----------
Places are points (1/72 inch) from the top left corner of the page. A `Sheet` keeps a cursor
that runs down the page and opens a new page when something does not fit. Text is measured
before it is set, so it never runs over its column. No date is written.

Limits
------
Text runs from left to right.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from buzzscan.plots.neckmap import MapLayer, draw_map
from buzzscan.plots.tones import INK, PAPER, RULE
from buzzscan.plots.traces import SHADES, shaded
from buzzscan.report.clips import ClipSet
from buzzscan.report.typesetting import (
    BODY,
    FAMILIES,
    FIGURES,
    LABEL,
    Face,
    fitting,
    printable,
    properties_of,
    width_of,
    wrapped,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["MARGIN", "SOFT", "WIDTH", "Sheet"]

PAGE_WIDTH, PAGE_HEIGHT = 595.276, 841.890
"""A4, ISO 216."""
MARGIN, FOOT = 45.0, 40.0
WIDTH = PAGE_WIDTH - 2 * MARGIN

_BEFORE = {"left": 0.0, "center": 0.5, "right": 1.0}
"""Share of a line that stands before its place."""

SOFT = "#5b5f63"
TRACE_COLOURS = ("#9a3412", "#1c4c70")
"""Outline of a note, and of the one it is set against; as in the style sheet."""


class Sheet:
    """A4 pages that fill from the top.

    Parameters
    ----------
    title
        Stands in the foot of each page and in the file's title.
    page_width, page_height
        Size in points.
    """

    def __init__(
        self, title: str, *, page_width: float = PAGE_WIDTH, page_height: float = PAGE_HEIGHT
    ) -> None:
        self.title = title
        self.page_width, self.page_height = page_width, page_height
        self.width = page_width - 2 * MARGIN
        self.y = MARGIN
        self._pages: list[Figure] = []
        self.new_page()

    def new_page(self) -> None:
        """Open a page."""
        from matplotlib.figure import Figure

        self._pages.append(Figure(figsize=(self.page_width / 72, self.page_height / 72)))
        self.y = MARGIN

    @property
    def n_pages(self) -> int:
        """Pages opened so far."""
        return len(self._pages)

    @property
    def room(self) -> float:
        """Points left on the page."""
        return self.page_height - FOOT - 18.0 - self.y

    def need(self, height: float) -> None:
        """Open a page unless `height` points are left."""
        if self.room < height:
            self.new_page()

    def put(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float,
        face: Face = BODY,
        bold: bool = False,
        color: str = INK,
        align: Literal["left", "center", "right"] = "left",
        spacing: float = 1.2,
    ) -> None:
        """Set finished lines with their first baseline at `y`."""
        from buzzscan.report.printed_lines import PrintedLines

        properties = properties_of(face, bold=bold).copy()
        properties.set_size(size)
        lines = []
        for index, line in enumerate(text.split("\n")):
            if line:
                before = _BEFORE[align]
                left = x - before * size * width_of(line, face, bold=bold) if before else x
                down = y + index * size * spacing
                lines.append((left / self.page_width, 1.0 - down / self.page_height, line))
        self._pages[-1].add_artist(PrintedLines(lines, properties, color))

    def paragraph(
        self,
        text: str,
        *,
        size: float = 10.0,
        face: Face = BODY,
        bold: bool = False,
        color: str = INK,
        indent: float = 0.0,
        width: float | None = None,
        after: float = 4.0,
    ) -> None:
        """Set text in the column, over pages where needed."""
        room = (width or self.width) - indent
        for line in wrapped(text, room, size, face, bold=bold):
            self.need(size * 1.25)
            self.put(
                MARGIN + indent, self.y + size, line, size=size, face=face, bold=bold, color=color
            )
            self.y += size * 1.25
        self.y += after

    def heading(self, text: str, *, keep: float = 40.0) -> None:
        """Set a heading under a rule, with `keep` points of what follows."""
        self.need(30.0 + keep)
        self.y += 8.0
        self.rule()
        self.paragraph(text, size=13.0, after=5.0)

    def rule(self, *, weight: float = 0.6, color: str = INK) -> None:
        """Draw a line across the column."""
        self.line(MARGIN, MARGIN + self.width, self.y, weight=weight, color=color)
        self.y += 4.0

    def line(self, x0: float, x1: float, y: float, *, weight: float, color: str = RULE) -> None:
        """Draw a horizontal line."""
        from matplotlib.lines import Line2D

        height = 1.0 - y / self.page_height
        self._pages[-1].add_artist(
            Line2D(
                [x0 / self.page_width, x1 / self.page_width],
                [height, height],
                color=color,
                lw=weight,
            )
        )

    def box(self, x: float, y: float, width: float, height: float, *, fill: str) -> None:
        """Draw a filled box with a thin frame."""
        from matplotlib.patches import Rectangle

        self._pages[-1].add_artist(
            Rectangle(
                (x / self.page_width, 1.0 - (y + height) / self.page_height),
                width / self.page_width,
                height / self.page_height,
                facecolor=fill,
                edgecolor=RULE,
                linewidth=0.4,
            )
        )

    def axes(self, x: float, y: float, width: float, height: float) -> Axes:
        """Return axes at a place on the page."""
        return self._pages[-1].add_axes(
            (
                x / self.page_width,
                1.0 - (y + height) / self.page_height,
                width / self.page_width,
                height / self.page_height,
            )
        )

    def traces(
        self, sides: tuple[tuple[str, str], tuple[str, str]], clips: ClipSet, *, size: float
    ) -> None:
        """Draw two notes side by side.

        Parameters
        ----------
        sides
            (title, key of the clip) of the note and of the one it is set against.
        clips
            Where the clips are; a side without one stays empty.
        size
            Size of the text around, in points; the pictures keep its measure.
        """
        height, gap = 9.2 * size, 16.0
        self.need(height + 3.0 * size)
        half = 0.5 * (self.width - gap)
        for index, ((title, key), color) in enumerate(zip(sides, TRACE_COLOURS, strict=True)):
            x = MARGIN + index * (half + gap)
            text = fitting(title, half, 0.85 * size, LABEL)
            self.put(x, self.y + size, text, size=0.85 * size, face=LABEL)
            if key in clips.by_key:
                place = (x, self.y + 1.5 * size, half, height - 1.5 * size)
                self.trace(place, clips, key, color=color)
        self.y += height + 2.0

    def trace(
        self, place: tuple[float, float, float, float], clips: ClipSet, key: str, *, color: str
    ) -> None:
        """Draw a note: its outline above, its spectrogram below, on one axis of time."""
        x, y, width, height = place
        clip, span_s = clips.by_key[key], clips.span_s
        gutter, axis = 26.0, 10.0
        left, room = x + gutter, width - gutter
        wave_height = 0.34 * (height - axis)
        spec_height = 0.62 * (height - axis)
        wave = self.axes(left, y, room, wave_height)
        low, high = clip.outline.T
        times = [clip.length_s * (i + 0.5) / len(low) for i in range(len(low))]
        wave.fill_between(times, low, high, color=color, linewidth=0.3)
        wave.set(xlim=(0.0, span_s), ylim=(-1.0, 1.0), xticks=[], yticks=[])
        spec = self.axes(left, y + height - axis - spec_height, room, spec_height)
        colours = np.array(SHADES, np.uint8)[shaded(clip.levels_db)]
        spec.imshow(colours, aspect="auto", extent=(0.0, span_s, 0.0, 1.0))
        octaves = np.log([8000.0 / 80.0, 1000.0 / 80.0, 1.0]) / np.log(8000.0 / 80.0)
        spec.set_yticks(octaves, ["8 kHz", "1 kHz", "80 Hz"])
        spec.set_xticks([share * span_s for share, _ in clips.ticks], [t for _, t in clips.ticks])
        spec.tick_params(labelsize=5.5, length=1.5, pad=1.5, width=0.4)
        for axes in (wave, spec):
            for spine in axes.spines.values():
                spine.set(color=RULE, linewidth=0.5)

    def neck(
        self,
        layer: MapLayer,
        *,
        cell_height: float = 19.0,
        label: float = 34.0,
        explained: bool = True,
    ) -> None:
        """Draw one layer of the map over the width of the column, with its key."""
        n_rows = len(layer.rows)
        height = (n_rows + (1.9 if layer.foot else 1.1)) * cell_height
        self.need(height + 40.0)
        cell = (self.width - label) / len(layer.fret_labels)
        axes = self.axes(MARGIN + label, self.y, self.width - label, height)
        draw_map(axes, layer, cell_pt=min(cell, cell_height * 1.1))
        self.y += height
        if not explained:
            self.y += 6.0
            return
        foot = layer.caption + "."
        if layer.foot_title:
            foot = (
                f"Last row: {layer.foot_title[0].lower()}{layer.foot_title[1:]}. {layer.caption}."
            )
        self.paragraph(foot, size=6.8, face=LABEL, color=SOFT, after=2.0)
        self._key(layer)

    def _key(self, layer: MapLayer) -> None:
        x = MARGIN
        self.need(14.0)
        for tone in layer.tones:
            text = f"{tone.word}: {tone.meaning}"
            width = 14.0 + 7.0 * width_of(text, LABEL, bold=False) + 12.0
            if x + width > MARGIN + self.width and x > MARGIN:
                x = MARGIN
                self.y += 12.0
                self.need(12.0)
            self.box(x, self.y, 9.0, 9.0, fill=tone.fill)
            if tone.mark:
                self.put(
                    x + 4.5,
                    self.y + 7.0,
                    tone.mark,
                    size=6.5,
                    face=LABEL,
                    bold=True,
                    color=tone.ink,
                    align="center",
                )
            self.put(x + 13.0, self.y + 7.0, text, size=7.0, face=LABEL)
            x += width
        self.y += 16.0

    def table(
        self,
        headers: Sequence[str],
        rows: Sequence[Sequence[str]],
        widths: Sequence[int],
        *,
        size: float = 6.2,
        left: frozenset[int] = frozenset(),
    ) -> None:
        """Set a table over as many pages as it takes, with its header on each.

        Rows are set whole in a face whose signs are equally wide: a text object for each cell
        would take longer than everything else on the sheet.

        Parameters
        ----------
        headers, rows
            Words; what follows a comma in a header, its unit, is set below it.
        widths
            Widest entry of each column, in signs; longer ones are cut.
        size
            Points.
        left
            Columns that are set from the left.
        """
        pitch = size * 1.42

        def line_of(row: Sequence[str]) -> str:
            cells = []
            for column, (text, width) in enumerate(zip(row, widths, strict=True)):
                cut = text if len(text) <= width else text[: width - 1] + "…"
                cells.append(cut.ljust(width) if column in left else cut.rjust(width))
            return printable("  ".join(cells).rstrip(), FIGURES)

        heads = [header.partition(", ") for header in headers]
        head = [line_of([name for name, _, _ in heads]), line_of([unit for _, _, unit in heads])]
        done = 0
        while done < len(rows):
            self.need(pitch * 5)
            n_rows = min(len(rows) - done, int((self.room - len(head) * pitch) / pitch))
            lines = [*head, *(line_of(row) for row in rows[done : done + n_rows])]
            text = "\n".join(lines)
            self.put(MARGIN, self.y + size, text, size=size, face=FIGURES, spacing=1.42)
            for index in range(0, n_rows + 1, 5):
                y = self.y + pitch * (index + len(head)) - 0.12 * size
                self.line(MARGIN, MARGIN + self.width, y, weight=0.3 if index else 0.8)
            self.y += pitch * (n_rows + len(head))
            done += n_rows
            if done < len(rows):
                self.new_page()

    def pdf(self) -> bytes:
        """Return the pages as a PDF."""
        from matplotlib import rc_context
        from matplotlib.backends.backend_pdf import PdfPages

        buffer = io.BytesIO()
        metadata = {"Title": self.title, "Creator": "buzzscan", "CreationDate": None}
        total = len(self._pages)
        with (
            rc_context({"pdf.fonttype": 3, "pdf.compression": 6}),
            PdfPages(buffer, metadata=metadata) as pages,
        ):
            for index, figure in enumerate(self._pages, 1):
                self._foot(figure, index, total)
                pages.savefig(figure)
        return buffer.getvalue()

    def png(self) -> bytes:
        """Return the first page as a picture, without the foot, cut off below the cursor."""
        from matplotlib.transforms import Bbox

        figure = self._pages[0]
        figure.set_facecolor(PAPER)
        low = (self.page_height - self.y - 0.4 * MARGIN) / 72.0
        cut = Bbox.from_extents(0.0, low, self.page_width / 72.0, self.page_height / 72.0)
        buffer = io.BytesIO()
        metadata = {"Title": self.title, "Software": "buzzscan"}
        figure.savefig(buffer, format="png", dpi=144, bbox_inches=cut, metadata=metadata)
        return buffer.getvalue()

    def _foot(self, figure: Figure, page: int, total: int) -> None:
        y = FOOT / self.page_height
        title = fitting(self.title, self.width * 0.8, 7.0, LABEL)
        left, right = MARGIN / self.page_width, 1.0 - MARGIN / self.page_width
        style: dict[str, Any] = {
            "family": FAMILIES[LABEL],
            "size": 7.0,
            "color": SOFT,
            "parse_math": False,
        }
        figure.text(left, y, title, ha="left", **style)
        figure.text(right, y, f"{page} of {total}", ha="right", **style)
