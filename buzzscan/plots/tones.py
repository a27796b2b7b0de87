"""Marks, letters and colours of the map: one key for screen, print and terminal.

Conventions
-----------
A *tone* is one step of a layer's key: a word, a mark beside it, and a colour. Within a layer
the colours fall in lightness from harmless to bad, so the map still reads on a grey print, and
the mark says the same without any colour at all. `ink` is the colour of text on `fill`.

Limits
------
Flat and sharp, and better and worse, are two directions and not an order; they differ in
lightness, in hue and in their marks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["INK", "LAYERS", "PAPER", "RULE", "Layer", "Tone", "tone_of", "tones_of"]

Layer = Literal["buzz", "sustain", "pitch", "change"]
LAYERS: tuple[Layer, ...] = ("buzz", "sustain", "pitch")
"""Layers of one scan; "change" is the layer of two."""

PAPER = "#fdfcf9"
INK = "#20242a"
RULE = "#cdc8bb"

_DARK = INK
_LIGHT = "#ffffff"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """One step of a layer's key.

    Parameters
    ----------
    key
        Name for style sheets, unique over all layers.
    word
        The verdict as it is said.
    mark
        Sign on screen and in print.
    letter
        The same in plain ASCII, for terminals.
    meaning
        What the word means, in one clause.
    fill, ink
        Colour of the cell and of the text on it, as ``#rrggbb``.
    """

    key: str
    word: str
    mark: str
    letter: str
    meaning: str
    fill: str
    ink: str


_UNJUDGED = Tone(
    key="unjudged",
    word="not judged",
    mark="?",
    letter="?",
    meaning="played, but could not be told",
    fill="#ffffff",
    ink=_DARK,
)
_UNPLAYED = Tone(
    key="unplayed",
    word="not played",
    mark="",
    letter=" ",
    meaning="not in the recording",
    fill="#ffffff",
    ink=_DARK,
)

_KEYS: dict[Layer, tuple[Tone, ...]] = {
    "buzz": (
        Tone(
            key="clean",
            word="clean",
            mark="·",
            letter=".",
            meaning="the string touches no fret after the attack",
            fill="#eef2ea",
            ink=_DARK,
        ),
        Tone(
            key="slight",
            word="slight",
            mark="s",
            letter="s",
            meaning="touches a fret, below the bar that was set",
            fill="#f0cc74",
            ink=_DARK,
        ),
        Tone(
            key="buzz",
            word="buzz",
            mark="B",
            letter="B",
            meaning="buzzes above the bar that was set",
            fill="#dd8436",
            ink=_DARK,
        ),
        Tone(
            key="choked",
            word="choked",
            mark="X",
            letter="X",
            meaning="stops short, or sounds another fret's note",
            fill="#611d45",
            ink=_LIGHT,
        ),
    ),
    "sustain": (
        Tone(
            key="rings",
            word="rings",
            mark="·",
            letter=" ",
            meaning="rings on as this string usually does",
            fill="#ebf1f3",
            ink=_DARK,
        ),
        Tone(
            key="short",
            word="short",
            mark="d",
            letter="d",
            meaning="falls clearly faster than this string usually does",
            fill="#93c0d4",
            ink=_DARK,
        ),
        Tone(
            key="dead",
            word="dead",
            mark="D",
            letter="D",
            meaning="falls far faster than this string usually does",
            fill="#1c4c70",
            ink=_LIGHT,
        ),
    ),
    "pitch": (
        Tone(
            key="intune",
            word="in tune",
            mark="·",
            letter=" ",
            meaning="within the bar for pitch",
            fill="#f1efea",
            ink=_DARK,
        ),
        Tone(
            key="sharp",
            word="sharp",
            mark="♯",
            letter="+",
            meaning="above the bar for pitch",
            fill="#d9bb55",
            ink=_DARK,
        ),
        Tone(
            key="flat",
            word="flat",
            mark="♭",
            letter="-",
            meaning="below the bar for pitch",
            fill="#5a5fa8",
            ink=_LIGHT,
        ),
    ),
    "change": (
        Tone(
            key="same",
            word="same",
            mark="·",
            letter=".",
            meaning="no change beyond the spread of the passes",
            fill="#f0efeb",
            ink=_DARK,
        ),
        Tone(
            key="better",
            word="better",
            mark="b",
            letter="b",
            meaning="less buzz than before, not yet clean",
            fill="#abd6c2",
            ink=_DARK,
        ),
        Tone(
            key="worse",
            word="worse",
            mark="w",
            letter="w",
            meaning="more buzz than before",
            fill="#e79a4c",
            ink=_DARK,
        ),
        Tone(
            key="cured",
            word="cured",
            mark="C",
            letter="C",
            meaning="buzzed before, clean now",
            fill="#2b7d74",
            ink=_LIGHT,
        ),
        Tone(
            key="new",
            word="new",
            mark="N",
            letter="N",
            meaning="clean before, buzzes now",
            fill="#611d45",
            ink=_LIGHT,
        ),
        Tone(
            key="incomparable",
            word="not comparable",
            mark="?",
            letter="?",
            meaning="cannot be judged from these two takes",
            fill="#ffffff",
            ink=_DARK,
        ),
    ),
}


def tones_of(layer: Layer) -> tuple[Tone, ...]:
    """Return the whole key of a layer, from harmless to bad, then the two empty states."""
    if layer == "change":
        return (*_KEYS[layer], _UNPLAYED)
    return (*_KEYS[layer], _UNJUDGED, _UNPLAYED)


def tone_of(layer: Layer, word: str | None, *, played: bool) -> Tone:
    """Return the tone of a verdict.

    Parameters
    ----------
    layer
        Which verdict it is.
    word
        The verdict, or None where there is none.
    played
        Whether the position was played at all.

    Raises
    ------
    KeyError
        If the layer knows no such verdict.
    """
    if word is None:
        return _UNJUDGED if played else _UNPLAYED
    for tone in _KEYS[layer]:
        if tone.word == word:
            return tone
    raise KeyError(f"the {layer} layer has no verdict {word!r}")
