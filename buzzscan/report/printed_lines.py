"""Lines of text as matplotlib draws them, without measuring them again.

Conventions
-----------
Places are shares of the figure, from its lower left corner. The module imports matplotlib, so
only what draws imports it.

Limits
------
matplotlib's own text lays every line out twice, once to find its box. Lines whose start is known
need no box; a sheet of many notes is drawn in two thirds of the time.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib.artist import Artist

if TYPE_CHECKING:
    from matplotlib.backend_bases import RendererBase
    from matplotlib.font_manager import FontProperties

__all__ = ["PrintedLines"]


class PrintedLines(Artist):
    """Lines in one face, size and colour.

    Parameters
    ----------
    lines
        (x, y, text): where each baseline starts.
    properties
        Face and size.
    color
        Any colour that matplotlib knows.
    """

    def __init__(
        self,
        lines: Sequence[tuple[float, float, str]],
        properties: FontProperties,
        color: str,
    ) -> None:
        super().__init__()
        self._lines = tuple(lines)
        self._properties = properties
        self._color = color
        self.set_zorder(3)  # over boxes and rules, as text is

    def draw(self, renderer: RendererBase) -> None:
        """Draw the lines."""
        figure = self.get_figure(root=True)
        if figure is None:
            raise RuntimeError("lines that stand on no figure")
        _, height = renderer.get_canvas_width_height()
        context = renderer.new_gc()
        context.set_foreground(self._color)
        for x, y, text in self._lines:
            across, up = figure.transFigure.transform((x, y))
            place = height - up if renderer.flipy() else up
            renderer.draw_text(context, across, place, text, self._properties, 0.0)
        context.restore()
        self.stale = False
