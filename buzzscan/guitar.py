"""The instrument: its strings, tuning, frets and, where known, its setup.

Conventions
-----------
Strings are numbered as the trade does: 1 is the thinnest. A tuning is listed as it is said,
thickest string first, so string ``n`` is ``tuning[-n]``. Fret 0 is the open string; with a
capo, frets are still counted from the nut and the capo's fret is the lowest that sounds.
Pitches are equal temperament at `a4_hz` plus the cents that the tuning itself names.

Limits
------
Setup values that are not given are None: they are unknown, not typical. The ranges of values
are wide enough for anything with frets, from a soprano ukulele to a contrabass guitar; they
catch wrong units and slips, not unusual instruments.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import os
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from buzzscan.errors import GuitarError, UnreadableFileError

__all__ = [
    "STANDARD_TUNING",
    "Guitar",
    "guitar_from_mapping",
    "guitar_to_mapping",
    "load_guitar",
]

STANDARD_TUNING = ("E2", "A2", "D3", "G3", "B3", "E4")
"""Standard tuning of the six-string guitar, thickest string first."""

MOST_FILE_BYTES = 64 * 1024
"""A guitar file holds some 20 lines; anything larger is another kind of file."""
MOST_TEXT = 200
"""Characters of a name, a shop or a job: what fits the head of a page."""
MOST_STRINGS = 18
_RANGES = {
    "frets": (1, 36),
    "a4_hz": (380.0, 500.0),
    "scale_mm": (200.0, 1200.0),
    "gauges_mm": (0.1, 5.0),
    "action_12_mm": (0.1, 10.0),
    "relief_mm": (-2.0, 3.0),
    "nut_gap_mm": (0.0, 5.0),
    "radius_mm": (50.0, 2000.0),
}
"""Lowest and highest value of each number."""
_LOWEST_MIDI, _HIGHEST_MIDI = 16.0, 93.0
"""E0 (20.6 Hz), under the lowest string sold for any bass, and A6, over any open string."""
_PER_STRING = ("gauges_mm", "wound", "action_12_mm")
_TEXTS = ("name", "shop", "job")

_NOTE = re.compile(r"([A-Ga-g])([#b♯♭]{0,2})(-?\d)(?:([+-]\d{1,3}(?:\.\d{1,3})?)c)?")
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTALS = {"#": 1, "♯": 1, "b": -1, "♭": -1}
_MOST_CENTS = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Guitar:
    """A fretted instrument as the guitar file describes it.

    Parameters
    ----------
    tuning
        Note of each open string, thickest first, 1 to 18 of them: letter, sharps or flats,
        octave ("E2", "F#3", "B♭1"); cents may follow ("E2-8c").
    frets
        Number of frets, 1 to 36.
    a4_hz
        Frequency of A4, 380 to 500 Hz.
    capo
        Fret that a capo holds down, below `frets`; 0 for none.
    scale_mm, gauges_mm, wound, action_12_mm, relief_mm, nut_gap_mm, radius_mm
        Setup, each None when not known. Tuples run thickest string first.
    name, shop, job
        Words for the report, at most 200 characters each.
    date
        When the take was played, as "2026-03-14" (ISO 8601); empty when not known.

    Raises
    ------
    GuitarError
        If a value has the wrong type or lies outside its range.
    """

    tuning: tuple[str, ...] = STANDARD_TUNING
    frets: int = 22
    a4_hz: float = 440.0
    capo: int = 0
    scale_mm: float | None = None
    gauges_mm: tuple[float, ...] | None = None
    wound: tuple[bool, ...] | None = None
    action_12_mm: tuple[float, ...] | None = None
    relief_mm: float | None = None
    nut_gap_mm: float | None = None
    radius_mm: float | None = None
    name: str = ""
    shop: str = ""
    job: str = ""
    date: str = ""

    def __post_init__(self) -> None:
        _check_tuning(self.tuning)
        _check_number("frets", self.frets, whole=True)
        _check_number("a4_hz", self.a4_hz)
        if not _is_number(self.capo, whole=True) or not 0 <= self.capo < self.frets:
            raise GuitarError(
                f"capo is {_shown(self.capo)}, need a whole number from 0 (none) to "
                f"{self.frets - 1}; give the fret that it holds down"
            )
        for key in ("scale_mm", "relief_mm", "nut_gap_mm", "radius_mm"):
            if getattr(self, key) is not None:
                _check_number(key, getattr(self, key))
        for key in _PER_STRING:
            if getattr(self, key) is not None:
                _check_per_string(key, getattr(self, key), self.n_strings)
        _check_gauge_order(self)
        for key in _TEXTS:
            _check_text(key, getattr(self, key))
        _check_date(self.date)

    @property
    def n_strings(self) -> int:
        """Number of strings."""
        return len(self.tuning)

    @property
    def strings(self) -> range:
        """String numbers, 1 (thinnest) to n."""
        return range(1, self.n_strings + 1)

    def midi(self, string: int, fret: int) -> float:
        """Return the nominal pitch of a position as a MIDI note number with a fraction.

        Raises
        ------
        GuitarError
            If the string or the fret is not on the instrument.
        """
        if string not in self.strings or not 0 <= fret <= self.frets:
            raise GuitarError(
                f"no position string {string}, fret {fret} on a guitar of {self.n_strings} "
                f"strings and {self.frets} frets"
            )
        return _note_to_midi(self.tuning[-string]) + fret

    def pitch_hz(self, string: int, fret: int) -> float:
        """Return the nominal frequency in Hz of a position (first partial).

        Raises
        ------
        GuitarError
            If the string or the fret is not on the instrument.
        """
        return float(self.a4_hz * 2.0 ** ((self.midi(string, fret) - 69.0) / 12.0))


def load_guitar(path: str | os.PathLike[str]) -> Guitar:
    """Return the guitar that a TOML file describes.

    Parameters
    ----------
    path
        UTF-8 text of at most 64 KiB; keys are the fields of `Guitar`, `tuning` is required.

    Raises
    ------
    UnreadableFileError
        If the file cannot be read.
    GuitarError
        If it does not describe a guitar.
    """
    import tomllib

    where = Path(path)
    try:
        with where.open("rb") as file:
            data = file.read(MOST_FILE_BYTES + 1)
            size = max(os.fstat(file.fileno()).st_size, len(data))
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the path
        reason = getattr(error, "strerror", None) or error
        raise UnreadableFileError(
            f"cannot read guitar file {where}: {reason}; check the path"
        ) from error
    if len(data) > MOST_FILE_BYTES:
        raise GuitarError(
            f"{where} holds {size / 1024:.0f} KiB, a guitar file at most "
            f"{MOST_FILE_BYTES // 1024} KiB; give the TOML file that describes the guitar"
        )
    try:
        mapping = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise GuitarError(
            f"{where} is not text in UTF-8 (byte {error.start}); give the TOML file that "
            "describes the guitar"
        ) from error
    except (ValueError, RecursionError) as error:  # ValueError: also numbers too long to read
        reason = str(error)
        if isinstance(error, RecursionError):
            reason = "nested too deeply"
        elif "integer string conversion" in reason:
            reason = "a number has thousands of digits"
        raise GuitarError(
            f"{where} is not TOML: {reason}; write one key = value a line, text in quotes"
        ) from error
    try:
        return guitar_from_mapping(mapping)
    except GuitarError as error:
        raise GuitarError(f"{where}: {error}") from error


def guitar_from_mapping(mapping: Mapping[str, Any]) -> Guitar:
    """Return the guitar that keys and plain values describe.

    Parameters
    ----------
    mapping
        Fields of `Guitar`; lists where it has tuples. `action_12_mm` may be one number for
        all strings.

    Raises
    ------
    GuitarError
        If a key is unknown, `tuning` is missing, or a value is not usable.
    """
    known = [field.name for field in dataclasses.fields(Guitar)]
    for key in mapping:
        if key not in known:
            raise GuitarError(f"unknown key {_shown(key)}; {_nearest(key, known)}")
    if "tuning" not in mapping:
        raise GuitarError(
            'tuning is missing; add it, thickest string first: tuning = ["E2", "A2", "D3", '
            '"G3", "B3", "E4"]'
        )
    values: dict[str, Any] = {k: _plain_to_value(k, v) for k, v in mapping.items()}
    action = values.get("action_12_mm")
    if _is_number(action) and isinstance(values["tuning"], tuple):
        values["action_12_mm"] = (action,) * len(values["tuning"])
    return Guitar(**values)


def guitar_to_mapping(guitar: Guitar) -> dict[str, Any]:
    """Return the known values of a guitar as keys and plain values, in a fixed order."""
    mapping: dict[str, Any] = {}
    for field in dataclasses.fields(guitar):
        value = getattr(guitar, field.name)
        if value is None or value == "":
            continue
        mapping[field.name] = list(value) if isinstance(value, tuple) else value
    return mapping


def _plain_to_value(key: str, value: Any) -> Any:
    """Return lists as tuples, and whole numbers of measures as floats."""
    if isinstance(value, list):
        return tuple(_plain_to_value(key, item) for item in value)
    if key.endswith(("_mm", "_hz")) and _is_number(value):
        return float(value)
    if key == "date" and isinstance(value, dt.date):
        return value.isoformat()[:10]
    return value


@lru_cache(maxsize=256)
def _note_to_midi(note: str) -> float:
    """Return the MIDI number of a note name; C4 is 60 (scientific pitch notation)."""
    match = _NOTE.fullmatch(note.strip().replace("−", "-"))
    if match is None:
        raise GuitarError(
            f"tuning has {_shown(note)}, which is not a note; write letter, sharp or flat, "
            'octave and, if wanted, cents: "E2", "F#3", "Bb1", "E2-8c"'
        )
    letter, accidentals, octave, cents = match.groups()
    shift = float(cents or 0.0)
    if abs(shift) > _MOST_CENTS:
        raise GuitarError(
            f"tuning has {_shown(note)}: {shift:+.0f} cents, limit ±{_MOST_CENTS:.0f}; "
            "name the nearer note"
        )
    semitone = _SEMITONES[letter.upper()] + sum(_ACCIDENTALS[a] for a in accidentals)
    midi = 12.0 * (int(octave) + 1) + semitone + shift / 100.0
    if not _LOWEST_MIDI <= midi <= _HIGHEST_MIDI:
        raise GuitarError(
            f"tuning has {_shown(note)}, need an open string from E0 to A6; check the octave "
            "(the thickest string of a guitar is E2, of a bass E1)"
        )
    return midi


def _check_tuning(tuning: Any) -> None:
    if not isinstance(tuning, tuple) or not all(isinstance(note, str) for note in tuning):
        raise GuitarError(
            f'tuning is {_shown(tuning)}, need a list of notes in quotes, as ["E2", "A2"]'
        )
    if not 1 <= len(tuning) <= MOST_STRINGS:
        raise GuitarError(
            f"tuning has {len(tuning)} strings, need 1 to {MOST_STRINGS}; list each string once"
        )
    for note in tuning:
        _note_to_midi(note)


def _check_number(key: str, value: Any, *, whole: bool = False) -> None:
    low, high = _RANGES[key]
    if _is_number(value, whole=whole) and low <= value <= high:
        return
    kind = "a whole number" if whole else "a number"
    raise GuitarError(
        f"{key} is {_shown(value)}, need {kind} from {low:g} to {high:g}{_inch_hint(key, value)}"
    )


def _inch_hint(key: str, value: Any) -> str:
    """Return the next step; values that fit once they are taken as inches say so."""
    if key.endswith("_mm") and _is_number(value):
        low, high = _RANGES[key]
        if value > 0 and low <= 25.4 * value <= high:
            return f"; {value:g} inches would be {25.4 * value:.4g} mm"
    if key.endswith("_mm"):
        return "; give millimetres, or leave it out if not known"
    return "; correct it or leave it out"


def _check_per_string(key: str, values: Any, n_strings: int) -> None:
    kind = "true or false" if key == "wound" else "numbers"
    if not isinstance(values, tuple):
        raise GuitarError(
            f"{key} is {_shown(values)}, need a list of {kind}, one per string, thickest first"
        )
    if len(values) != n_strings:
        raise GuitarError(
            f"{key} has {len(values)} values, tuning has {n_strings} strings; give one per "
            "string, thickest first"
        )
    for value in values:
        if key != "wound":
            _check_number(key, value)
        elif not isinstance(value, bool):
            raise GuitarError(f"wound has {_shown(value)}, need true or false per string")


def _check_gauge_order(guitar: Guitar) -> None:
    gauges = guitar.gauges_mm
    if gauges is None or len(gauges) < 3 or any(a >= b for a, b in pairwise(gauges)):
        return
    raise GuitarError(
        f"gauges_mm rises from {gauges[0]:g} to {gauges[-1]:g}; list them as the tuning, "
        "thickest string first"
    )


def _check_text(key: str, text: Any) -> None:
    if not isinstance(text, str):
        raise GuitarError(f"{key} is {_shown(text)}, need text in quotes")
    if len(text) > MOST_TEXT:
        raise GuitarError(f"{key} has {len(text)} characters, limit {MOST_TEXT}; shorten it")
    for at, character in enumerate(text):
        # Control, format (invisible, direction-changing) and unassigned code points.
        if unicodedata.category(character) in ("Cc", "Cf", "Cs", "Cn", "Zl", "Zp"):
            raise GuitarError(
                f"{key} has a control character (U+{ord(character):04X}) at place {at + 1}; "
                "use plain text on one line"
            )


def _check_date(text: Any) -> None:
    if text == "":
        return
    try:
        if isinstance(text, str) and dt.date.fromisoformat(text).isoformat() == text:
            return
    except ValueError:
        pass
    raise GuitarError(
        f"date is {_shown(text)}, need year, month and day, as date = 2026-03-14; correct it or "
        "leave it out"
    )


def _is_number(value: Any, *, whole: bool = False) -> bool:
    if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
        return False
    return math.isfinite(value) if isinstance(value, float) else abs(value) < 10**9


def _shown(value: Any) -> str:
    """Return a value as TOML would show it, cut to what fits a message."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 10**30:
        return "a number of more than 30 digits"
    if isinstance(value, (tuple, list)) and any(isinstance(v, (tuple, list, dict)) for v in value):
        return "a list of lists"
    plain = list(value) if isinstance(value, tuple) else value
    text = str(plain).lower() if isinstance(plain, bool) else repr(plain)
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= 48 else text[:45] + "..."


def _nearest(key: str, known: list[str]) -> str:
    import difflib

    near = difflib.get_close_matches(str(key)[:64].lower(), known, n=1, cutoff=0.5)
    if near:
        return f"did you mean {near[0]}?"
    return "known keys are " + ", ".join(known)
