"""The neck in words: each position with its numbers, and the layers of the map.

Conventions
-----------
Verdicts are taken as they are; rounding is done by `buzzscan.report.words`.

Limits
------
Positions that were not played have dashes for numbers.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from buzzscan.guitar import Guitar
from buzzscan.neck.verdict import Position, tells_contact
from buzzscan.plots.neckmap import MapCell, MapLayer, MapRow
from buzzscan.plots.tones import LAYERS, Layer, Tone, tone_of, tones_of
from buzzscan.report import words
from buzzscan.report.texts import LAYER_TEXTS
from buzzscan.scanning import Scan

__all__ = [
    "PositionView",
    "fret_name",
    "key_of",
    "map_layer",
    "neighbour_of",
    "position_view",
    "string_label",
]

FRETS_OF_DOUBT = 10.0
"""A neighbour that strikes with a probability of one in ten is worth one that is a fret further
off."""
_FAULTY = {"buzz": ("buzz", "choked"), "sustain": ("short", "dead"), "pitch": ("flat", "sharp")}
"""Verdicts that the per-fret row counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionView:
    """One position with its numbers in words.

    Parameters
    ----------
    key
        "string-fret", used in addresses within the page.
    title
        "String 6, fret 9 · C♯3".
    verdicts
        One word per layer that has one.
    numbers
        (name, value) pairs.
    spoken
        Title and verdicts as one sentence.
    reason
        Why a verdict is missing.
    neighbour
        Key of the clean position it is set against, or None.
    """

    key: str
    string: int
    fret: int
    title: str
    verdicts: tuple[tuple[str, str, str], ...]
    numbers: tuple[tuple[str, str], ...]
    spoken: str
    reason: str
    played: bool
    neighbour: str | None


def key_of(string: int, fret: int) -> str:
    """Return the key of a position: "string-fret"."""
    return f"{string}-{fret}"


def string_label(guitar: Guitar, string: int) -> str:
    """Return the number and the open note of a string: "6 E2"."""
    return f"{string}\u2002{words.note(guitar.tuning[-string])}"


def fret_name(guitar: Guitar, fret: int) -> str:
    """Return how a fret is called: "fret 9", "open", or "open at the capo"."""
    if fret != guitar.capo:
        return f"fret {fret}"
    return "open at the capo" if guitar.capo else "open"


def neighbour_of(
    position: Position, by_place: dict[tuple[int, int], Position], *, open_fret: int = 0
) -> Position | None:
    """Return the nearest position that rings clean: same string first, then same fret.

    A neighbour is what a note should sound like, so it must be judged clean and must not be
    short or dead; one that may strike after all stands back. An open string stands in for a
    fretted one only on the same fret.
    """
    clean = [
        p
        for p in by_place.values()
        if p.buzz == "clean"
        and p.sustain not in {"short", "dead"}
        and (p.string == position.string or p.fret == position.fret)
        and (p.string, p.fret) != (position.string, position.fret)
        and (p.fret > open_fret or position.fret == open_fret or p.string != position.string)
    ]
    if not clean:
        return None
    return min(
        clean,
        key=lambda p: (
            p.string != position.string,
            abs(p.fret - position.fret)
            + abs(p.string - position.string)
            + FRETS_OF_DOUBT * (p.contact or 0.0),
            p.fret,
            p.string,
        ),
    )


def position_view(
    guitar: Guitar, position: Position, by_place: dict[tuple[int, int], Position]
) -> PositionView:
    """Return a position with its numbers in words."""
    note = words.note_name(guitar.midi(position.string, position.fret), guitar.tuning)
    fret = fret_name(guitar, position.fret)
    title = f"String {position.string}, {fret} · {note}"
    verdicts = tuple(
        (LAYER_TEXTS[layer].title, tone.word, tone.key)
        for layer in LAYERS
        for tone in (_tone(layer, position),)
    )
    said = [word for _, word, key in verdicts if key not in {"unjudged", "unplayed"}]
    neighbour = neighbour_of(position, by_place, open_fret=guitar.capo)
    return PositionView(
        key=key_of(position.string, position.fret),
        string=position.string,
        fret=position.fret,
        title=title,
        verdicts=verdicts,
        numbers=_numbers(position),
        spoken=f"String {position.string}, {fret}, {note}: "
        + (", ".join(said) if said else position.reason or "not judged"),
        reason=position.reason,
        played=bool(position.notes),
        neighbour=key_of(neighbour.string, neighbour.fret) if neighbour else None,
    )


def _numbers(position: Position) -> tuple[tuple[str, str], ...]:
    def spread(value: float | None, decimals: int) -> str:
        return "" if value is None else f"\u00a0±\u00a0{words.number(value, decimals)}"

    def row(
        value: float | None, off: float | None, decimals: int, unit: str, *, signed: bool
    ) -> str:
        if value is None:
            return words.DASH
        return f"{words.number(value, decimals, signed=signed)}{spread(off, decimals)}\u00a0{unit}"

    buzz = row(position.buzz_db, position.buzz_spread_db, 1, "dB", signed=False)
    by_amp = row(position.buzz_amp_db, None, 1, "dB", signed=False)
    strikes = tells_contact(position.buzz)  # the buzz of what strikes nothing is no buzz
    return (
        ("Buzz", buzz if strikes else words.DASH),
        ("Buzz through an amp", by_amp if strikes else words.DASH),
        ("Contact", words.percent(position.contact)),
        (
            "Fall",
            row(position.decay_db_per_s, position.decay_spread_db_per_s, 1, "dB/s", signed=False),
        ),
        ("60 dB would take", words.seconds(position.t60_s)),
        (
            "Fall against the string's usual",
            words.DASH
            if position.decay_ratio is None
            else f"{words.number(position.decay_ratio, 2)} ×",
        ),
        ("Pitch", row(position.cents, position.cents_spread, 1, "cents", signed=True)),
        ("Notes heard", str(len(position.notes))),
    )


def _tone(layer: Layer, position: Position | None) -> Tone:
    word = getattr(position, layer) if position is not None else None
    return tone_of(layer, word, played=position is not None and position.picked)


def _value(layer: Layer, position: Position | None) -> str:
    if position is None:
        return ""
    if layer == "buzz":
        value = position.buzz_db if tells_contact(position.buzz) else None
        return "" if value is None else words.number(value, 0)
    if layer == "sustain":
        value = position.t60_s
        return "" if value is None else words.number(value, 1 if value < 10.0 else 0)
    value = position.cents
    return "" if value is None else words.number(value, 0, signed=True)


def map_layer(
    layer: Layer,
    scan: Scan,
    by_place: dict[tuple[int, int], Position],
    positions: dict[str, PositionView],
) -> MapLayer:
    """Return one layer of the map, ready to be drawn."""
    frets = range(scan.guitar.frets + 1)
    rows, faults = [], Counter[int]()
    for string in scan.guitar.strings:
        cells = []
        for fret in frets:
            position = by_place.get((string, fret))
            tone = _tone(layer, position)
            faults[fret] += tone.word in _FAULTY[layer]
            spoken = positions[key_of(string, fret)].spoken if position else "not played"
            doubtful = layer == "buzz" and position is not None and position.doubtful
            value = _value(layer, position)
            cells.append(MapCell(tone=tone, value=value, spoken=spoken, doubtful=doubtful))
        rows.append(
            MapRow(string=string, label=string_label(scan.guitar, string), cells=tuple(cells))
        )
    text = LAYER_TEXTS[layer]
    return MapLayer(
        key=layer,
        title=text.title,
        caption=text.caption,
        tones=tones_of(layer),
        rows=tuple(rows),
        fret_labels=tuple("open" if fret == scan.guitar.capo else str(fret) for fret in frets),
        open_column=scan.guitar.capo,
        foot=tuple(str(faults[fret]) if faults[fret] else "" for fret in frets),
        foot_title=text.foot,
    )
