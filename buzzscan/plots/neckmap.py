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
from typing import TYPE_CHECKING

from buzzscan.plots.tones import INK, RULE, Layer, Tone

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
    """

    tone: Tone
    value: str
    spoken: str


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
        Which layer.
    title, caption
        Name, and what the number in the cells is.
    tones
        Key, from harmless to bad.
    rows
        String 1 first.
    fret_labels
        One per column.
    foot, foot_title
        Count of faulty strings per fret (empty where none), and what it counts.
    """

    key: Layer
    title: str
    caption: str
    tones: tuple[Tone, ...]
    rows: tuple[MapRow, ...]
    fret_labels: tuple[str, ...]
    foot: tuple[str, ...]
    foot_title: str


def draw_map(axes: Axes, layer: MapLayer, *, cell_pt: float, first_fret: int = 0) -> None:
    """Draw one layer into axes whose aspect the caller has set.

    Parameters
    ----------
    axes
        Where to draw; its limits and frame are set here.
    layer
        What to draw.
    cell_pt
        Width of a cell in points, for the size of the text.
    first_fret
        Fret of the first column.
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
        axes.text(-0.18, row_index + 0.5, row.label, ha="right", va="center", size=size, color=INK)
    for column, label in enumerate(layer.fret_labels):
        strong = column + first_fret in INLAYS
        axes.text(
            column + 0.5,
            -0.22,
            label,
            ha="center",
            va="bottom",
            size=size,
            weight="bold" if strong else "normal",
            color=INK,
        )
    axes.plot([1, 1], [0, n_rows], color=INK, linewidth=1.6, solid_capstyle="butt")
    for column, text in enumerate(layer.foot):
        axes.text(column + 0.5, n_rows + 0.5, text, ha="center", va="center", size=size)


def _write_cells(axes: Axes, layer: MapLayer, *, cell_pt: float) -> None:
    """Write mark and number into each cell that has something to say."""
    roomy = cell_pt >= 14.0
    mark_size, value_size = min(7.5, 0.44 * cell_pt), min(5.2, 0.30 * cell_pt)
    for row_index, row in enumerate(layer.rows):
        for column, cell in enumerate(row.cells):
            if not cell.tone.mark:
                continue
            harmless = cell.tone is layer.tones[0]
            with_value = roomy and bool(cell.value) and not harmless
            axes.text(
                column + 0.5,
                row_index + (0.34 if with_value else 0.5),
                cell.tone.mark,
                ha="center",
                va="center",
                size=mark_size,
                weight="normal" if harmless else "bold",
                color=cell.tone.ink,
            )
            if with_value:
                axes.text(
                    column + 0.5,
                    row_index + 0.74,
                    cell.value,
                    ha="center",
                    va="center",
                    size=value_size,
                    color=cell.tone.ink,
                )
