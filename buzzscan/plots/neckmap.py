"""The map of the neck: what it holds, and how it is drawn on paper.

Conventions
-----------
Rows are strings, the thinnest on top, as tablature is written; columns are frets from the nut.
A map holds finished words and numbers.

Limits
------
Drawn for up to 12 strings and 36 frets; beyond that the numbers in the cells are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from buzzscan.plots.tones import INK, RULE, Tone

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["INLAYS", "MapCell", "MapLayer", "MapRow", "draw_map"]

INLAYS = frozenset({3, 5, 7, 9, 12, 15, 17, 19, 21, 24, 27, 29, 31, 33, 36})
"""Frets that carry a position marker (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MapCell:
    """One position in one layer.

    Parameters
    ----------
    tone
        Verdict.
    value
        Short number for the cell, may be empty.
    spoken
        The same in words, for people who hear the page.
    doubtful
        Whether the passes of the position disagree: a question mark follows the sign.
    """

    tone: Tone
    value: str
    spoken: str
    doubtful: bool = False

    @property
    def mark(self) -> str:
        """Return the sign of the verdict, on screen and in print."""
        return f"{self.tone.mark}?" if self.doubtful else self.tone.mark


@dataclass(frozen=True, slots=True, kw_only=True)
class MapRow:
    """One string in one layer."""

    string: int
    label: str
    cells: tuple[MapCell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapLayer:
    """One layer of the map.

    Parameters
    ----------
    key
        Which layer; unique within a page.
    title, caption
        Name, and what the number in the cells is.
    tones
        Key, from harmless to bad.
    rows
        String 1 first.
    fret_labels
        One per column.
    open_column
        Column of the open strings: the nut, or the capo, is drawn beside it.
    foot, foot_title
        Count of faulty strings per fret (empty where none), and what it counts.
    """

    key: str
    title: str
    caption: str
    tones: tuple[Tone, ...]
    rows: tuple[MapRow, ...]
    fret_labels: tuple[str, ...]
    open_column: int
    foot: tuple[str, ...]
    foot_title: str


def draw_map(axes: Axes, layer: MapLayer, *, cell_pt: float) -> None:
    """Draw one layer into axes whose aspect the caller has set.

    Parameters
    ----------
    axes
        Where to draw; its limits and frame are set here.
    layer
        What to draw.
    cell_pt
        Width of a cell in points, for the size of the text.
    """
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    n_rows, n_columns = len(layer.rows), len(layer.fret_labels)
    axes.set(xlim=(0, n_columns), ylim=(n_rows + (1.0 if layer.foot else 0.2), -0.9))
    axes.axis("off")
    boxes, fills = [], []
    for row_index, row in enumerate(layer.rows):
        for column, cell in enumerate(row.cells):
            boxes.append(Rectangle((column + 0.03, row_index + 0.04), 0.94, 0.92))
            fills.append("none" if cell.tone.key == "unplayed" else cell.tone.fill)
    axes.add_collection(PatchCollection(boxes, facecolors=fills, edgecolors=RULE, linewidths=0.35))
    _write_cells(axes, layer, cell_pt=cell_pt)
    size = min(7.0, 0.42 * cell_pt)
    for row_index, row in enumerate(layer.rows):
        _write(axes, -0.18, row_index + 0.5, row.label, ha="right", size=size)
    for column, label in enumerate(layer.fret_labels):
        strong = column in INLAYS
        _write(
            axes,
            column + 0.5,
            -0.22,
            label,
            va="bottom",
            size=size,
            weight="bold" if strong else "normal",
        )
    nut = layer.open_column + 1
    axes.plot([nut, nut], [0, n_rows], color=INK, linewidth=1.6, solid_capstyle="butt")
    for column, text in enumerate(layer.foot):
        _write(axes, column + 0.5, n_rows + 0.5, text, size=size)


def _write(axes: Axes, x: float, y: float, text: str, **style: Any) -> None:
    """Write text as it stands: names are no formulae."""
    axes.text(
        x, y, text, **({"color": INK, "va": "center", "ha": "center"} | style), parse_math=False
    )


def _write_cells(axes: Axes, layer: MapLayer, *, cell_pt: float) -> None:
    """Write mark and number into each cell that has something to say."""
    roomy = cell_pt >= 14.0
    dots: list[tuple[float, float]] = []
    mark_size, value_size = min(7.5, 0.44 * cell_pt), min(5.2, 0.30 * cell_pt)
    for row_index, row in enumerate(layer.rows):
        for column, cell in enumerate(row.cells):
            if not cell.tone.mark:
                continue
            if cell.tone == layer.tones[0]:
                dots.append((column + 0.5, row_index + 0.5))
                continue
            with_value = roomy and bool(cell.value)
            _write(
                axes,
                column + 0.5,
                row_index + (0.34 if with_value else 0.5),
                cell.mark,
                size=mark_size,
                weight="bold",
                color=cell.tone.ink,
            )
            if with_value:
                _write(
                    axes,
                    column + 0.5,
                    row_index + 0.74,
                    cell.value,
                    size=value_size,
                    color=cell.tone.ink,
                )
    if dots:  # harmless cells: one collection is far quicker than a text each
        columns, rows = zip(*dots, strict=True)
        axes.scatter(columns, rows, s=1.6, color=INK, linewidths=0)
