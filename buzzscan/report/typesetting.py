"""Text measured before it is set: faces, widths, lines that fit.

Conventions
-----------
Widths are points. The faces come with matplotlib, so a page looks the same on every machine.

Limits
------
Signs that a face does not have are replaced by "□". Words wider than a column are broken.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties

__all__ = [
    "BODY",
    "FAMILIES",
    "FIGURES",
    "LABEL",
    "Face",
    "fitting",
    "printable",
    "properties_of",
    "width_of",
    "wrapped",
]

Face = Literal["serif", "sans", "mono"]
BODY: Face = "serif"
LABEL: Face = "sans"
FIGURES: Face = "mono"
FAMILIES: dict[Face, str] = {
    "serif": "STIXGeneral",
    "sans": "DejaVu Sans",
    "mono": "DejaVu Sans Mono",
}


@lru_cache(maxsize=16)
def properties_of(face: Face, *, bold: bool) -> FontProperties:
    """Return a face as matplotlib names it."""
    from matplotlib.font_manager import FontProperties

    return FontProperties(family=FAMILIES[face], weight="bold" if bold else "normal")


@lru_cache(maxsize=8)
def _glyphs(face: Face, *, bold: bool) -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font

    return frozenset(get_font(findfont(properties_of(face, bold=bold))).get_charmap())


@lru_cache(maxsize=4096)
def width_of(text: str, face: Face, *, bold: bool) -> float:
    """Return the width of text at a size of 1 point."""
    from matplotlib.textpath import TextToPath

    properties = properties_of(face, bold=bold)
    extent = TextToPath().get_text_width_height_descent(text, properties, ismath=False)
    return float(extent[0]) / float(properties.get_size_in_points())


def printable(text: str, face: Face, *, bold: bool = False) -> str:
    """Return text with every sign the font lacks replaced, and no control characters."""
    glyphs = _glyphs(face, bold=bold)
    clean = "".join(c if c.isprintable() or c == "\u00a0" else " " for c in text)
    return "".join(
        c if ord(c) in glyphs else " " if c.isspace() or c == "\u00a0" else "□" for c in clean
    )


def wrapped(text: str, width: float, size: float, face: Face, *, bold: bool = False) -> list[str]:
    """Return lines of text, none wider than `width` points."""
    space = width_of("n n", face, bold=bold) - width_of("nn", face, bold=bold)
    lines: list[str] = []
    line, used = "", 0.0
    for word in printable(text, face, bold=bold).split(" "):
        for piece in _pieces(word, width / size, face, bold=bold):
            length = width_of(piece, face, bold=bold) if piece else 0.0
            if line and (used + space + length) * size > width:
                lines.append(line)
                line, used = piece, length
            else:
                line, used = (f"{line} {piece}", used + space + length) if line else (piece, length)
    return [*lines, line]


def _pieces(word: str, width: float, face: Face, *, bold: bool) -> Iterable[str]:
    """Break a word that no line can hold."""
    while word and width_of(word, face, bold=bold) > width:
        n_fitting = max(1, int(len(word) * width / width_of(word, face, bold=bold)) - 1)
        # signs are not equally wide: the first may be the wide ones
        while n_fitting > 1 and width_of(word[:n_fitting], face, bold=bold) > width:
            n_fitting -= 1
        yield word[:n_fitting]
        word = word[n_fitting:]
    yield word


def fitting(text: str, width: float, size: float, face: Face, *, bold: bool = False) -> str:
    """Return one line of text, cut with "…" where it is too wide."""
    text = printable(text, face, bold=bold)
    if width_of(text or " ", face, bold=bold) * size <= width:
        return text
    while text and width_of(text + "…", face, bold=bold) * size > width:
        text = text[:-1]
    return text + "…"
