"""How values are said: rounding, units, note names and places on the neck.

Conventions
-----------
Numbers are rounded here and nowhere else in the report. A value that could not be measured is
said as a dash. Minus signs are typographic; the space before a unit does not break.

Limits
------
English only.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from buzzscan.spans import frets_named, strings_named
from buzzscan.units import FLOOR_DB

__all__ = [
    "DASH",
    "clock",
    "count",
    "date",
    "each_once",
    "held",
    "joined",
    "level",
    "note",
    "note_name",
    "number",
    "percent",
    "place",
    "positions_that",
    "quantity",
    "seconds",
    "sentence",
]

DASH = "–"
"""Stands for what could not be measured."""
_MINUS = "−"
_NBSP = "\u00a0"

_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:mm|dB|dBFS|Hz|kHz|s|cents|%)(?![\w]))")
_POSITIONS_THAT = {
    "buzz": ("position buzzes", "positions buzz"),
    "choked": ("position chokes", "positions choke"),
    "short": ("position falls short", "positions fall short"),
    "dead": ("position is dead", "positions are dead"),
}
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_SIGNS = str.maketrans("#b-", f"♯♭{_MINUS}")
_SHARP = ("C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B")
_FLAT = ("C", "D♭", "D", "E♭", "E", "F", "G♭", "G", "A♭", "A", "B♭", "B")
_USUAL = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "G♯", "A", "B♭", "B")
"""What players call them where the tuning says nothing (common practice, no source)."""


def number(value: float | None, decimals: int, *, signed: bool = False) -> str:
    """Return a rounded number, a dash for None; never "−0"."""
    if value is None:
        return DASH
    text = f"{value:.{decimals}f}"
    if float(text) == 0.0:
        return text.lstrip("-")
    if text.startswith("-"):
        return _MINUS + text[1:]
    return f"+{text}" if signed else text


def quantity(value: float | None, decimals: int, unit: str, *, signed: bool = False) -> str:
    """Return a rounded number with its unit, a dash alone for None."""
    text = number(value, decimals, signed=signed)
    return text if value is None else f"{text}{_NBSP}{unit}"


def level(dbfs: float) -> str:
    """Return a level in a recording; none at all is said in words."""
    return "digital silence" if dbfs <= FLOOR_DB else quantity(dbfs, 1, "dBFS")


def percent(share: float | None) -> str:
    """Return a share 0–1 as a whole percentage; what is not quite certain is never 100 %."""
    if share is not None and 0.995 <= share < 1.0:  # would round to certainty
        return f"over 99{_NBSP}%"
    return quantity(None if share is None else 100.0 * share, 0, "%")


def held(text: str) -> str:
    """Return a sentence whose numbers are not parted from their units at the end of a line."""
    return _BEFORE_UNIT.sub(_NBSP, text)


def seconds(value: float | None) -> str:
    """Return a time with as many decimals as it deserves."""
    decimals = 2 if value is not None and abs(value) < 10.0 else 1
    return quantity(value, decimals, "s")


def clock(value_s: float) -> str:
    """Return a time within a recording as minutes and seconds, to the hundredth."""
    minutes, rest = divmod(round(value_s * 100.0), 6000)
    return f"{minutes}:{rest / 100.0:05.2f}"


def date(iso: str) -> str:
    """Return a day as it is written in a letter: "14 March 2026"."""
    if not iso:
        return ""
    year, month, day = iso.split("-")
    return f"{int(day)}{_NBSP}{_MONTHS[int(month) - 1]} {year}"


def count(n: int, singular: str, plural: str = "") -> str:
    """Return a number of things, in the right form."""
    return f"{n}{_NBSP}{singular if n == 1 else plural or singular + 's'}"


def positions_that(verdict: str, n: int) -> str:
    """Return how many positions have a bad verdict: "2 positions buzz"."""
    return count(n, *_POSITIONS_THAT[verdict])


def note(written: str) -> str:
    """Return a note as it is set, from how a guitar file may write it: "bb1" is "B♭1"."""
    rest = written.strip()[1:].translate(_SIGNS)
    return written.strip()[:1].upper() + rest


def note_name(midi: float, tuning: Sequence[str] = ()) -> str:
    """Return the name of the note nearest to a MIDI note number, for example "C♯4".

    Parameters
    ----------
    midi
        Note number, 69 for A4.
    tuning
        The guitar's open strings: notes are spelled with its sharps or its flats.
    """
    nearest = round(midi)
    return f"{_names(tuning)[nearest % 12]}{nearest // 12 - 1}"


def _names(tuning: Sequence[str]) -> Sequence[str]:
    """Return the names of the twelve notes, from C, as a tuning spells them."""
    opens = [note(written)[:2] for written in tuning]
    signs = {name[1] for name in opens}.intersection("♯♭")
    if len(signs) == 1:
        return _SHARP if signs == {"♯"} else _FLAT
    names = list(_USUAL)
    for name in opens:
        for spelling in (_SHARP, _FLAT):
            if name in spelling:
                names[spelling.index(name)] = name
    return names


def joined(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: "a, b and c"."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def each_once(steps: Sequence[str]) -> tuple[str, ...]:
    """Return steps with those that were said before as "As for finding 2." instead."""
    first: dict[str, int] = {}
    for number, step in enumerate(steps, 1):
        first.setdefault(step, number)
    return tuple(
        step if not step or first[step] == number else f"As for finding {first[step]}."
        for number, step in enumerate(steps, 1)
    )


def sentence(text: str) -> str:
    """Return words with a capital and a full stop; the name of a file keeps its first letter."""
    if not text:
        return ""
    is_name = "." in text.split(maxsplit=1)[0]
    start = text[0] if is_name else text[0].upper()
    return f"{start}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}"


def place(strings: Sequence[int], frets: Sequence[int]) -> str:
    """Return where something sits: "fret 9, strings 4–6"."""
    parts = []
    if frets == (0,):
        parts.append("open string" if len(strings) == 1 else "open strings")
    elif frets:
        parts.append(frets_named(frets).replace(" ", _NBSP, 1))
    if strings:
        parts.append(strings_named(strings).replace(" ", _NBSP, 1))
    return ", ".join(parts) or "whole instrument"
