"""The columns of scan.json: which key holds what, and how many digits it keeps.

Conventions
-----------
One table per kind of row serves writing and reading. A column is named as the field it holds.

Limits
------
Rows only; how they refer to each other is checked in `buzzscan.scanfile`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from buzzscan.errors import ScanFileError
from buzzscan.neck.verdict import Buzz, FindingKind, HeardAs, PitchWord, Sustain
from buzzscan.notes.note import Direction, NoteFault

__all__ = [
    "BARS",
    "FINDING",
    "MEASURED",
    "NOTE",
    "PLACED",
    "POSITION",
    "RECORDING",
    "WARNING",
    "Column",
    "Slot",
    "from_plain",
    "to_plain",
]

Kind = Literal["number", "whole", "truth", "text", "wholes", "texts"]
_LACKING: dict[Kind, Any] = {"texts": (), "wholes": (), "truth": False}
"""What is read of a late column that a file lacks; null of any other kind."""
_LONGEST_TEXT = 4000
_LONGEST_LIST = 10_000
_LARGEST = 1e12
_LARGEST_WHOLE = 2**53


@dataclass(frozen=True, slots=True)
class Column:
    """One key of a row.

    Parameters
    ----------
    name
        Key, and name of the field.
    kind
        What it holds.
    digits
        Decimals that a number keeps.
    significant
        Whether `digits` counts significant digits instead.
    optional
        Whether it may be null.
    late
        Whether files of earlier programs lack it; it is read as null, none or false then.
    words
        The only texts allowed; empty for any.
    low, high
        Range of a number.
    """

    name: str
    kind: Kind
    digits: int = 2
    significant: bool = False
    optional: bool = False
    late: bool = False
    words: tuple[str, ...] = ()
    low: float = -_LARGEST
    high: float = _LARGEST


@dataclass(frozen=True, slots=True)
class Slot:
    """Where in the file something is, for messages."""

    where: str
    command: str = "scan"
    """Which command writes the file."""

    def wrong(self, found: Any, need: str) -> ScanFileError:
        """Return the error for a value that is not what the format says."""
        text = json_shown(found)
        return ScanFileError(f"{self.where} is {text}, need {need}; {self.anew}")

    @property
    def anew(self) -> str:
        """What to do about it."""
        return f"write the file anew with {self.command}"

    def key(self, name: str) -> Slot:
        """Return the place of a key inside."""
        return Slot(f"{self.where}.{name}" if self.where else name, self.command)

    def item(self, index: int) -> Slot:
        """Return the place of an item inside."""
        return Slot(f"{self.where}[{index}]", self.command)


def json_shown(value: Any) -> str:
    """Return a value cut to what fits a message, printable."""
    if isinstance(value, int) and abs(value) > _LARGEST_WHOLE:
        return "a whole number that is too large"
    if isinstance(value, (list, dict)):
        return f"a {'list' if isinstance(value, list) else 'table'} of {len(value)}"
    names = {"None": "null", "True": "true", "False": "false"}
    text = names.get(repr(value), repr(value))
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= 48 else text[:45] + "..."


def _db(name: str, *, optional: bool = True) -> Column:
    return Column(name, "number", 2, optional=optional)


def _rate(name: str) -> Column:
    return Column(name, "number", 3, optional=True)


def _seconds(name: str, *, optional: bool = True, digits: int = 4) -> Column:
    return Column(name, "number", digits, optional=optional, low=0.0)


def _share(name: str, *, optional: bool = True) -> Column:
    return Column(name, "number", 4, optional=optional, low=0.0, high=1.0)


def _word(name: str, kind: Any, *, optional: bool = True) -> Column:
    return Column(name, "text", optional=optional, words=get_args(kind))


def _text(name: str) -> Column:
    return Column(name, "text")


def _whole(name: str, low: int = 0, high: int = _LARGEST_WHOLE) -> Column:
    return Column(name, "whole", low=low, high=high)


RECORDING = (
    _text("name"),
    _text("sha256"),
    _whole("sample_rate_hz", 1, 1_000_000),
    _whole("file_rate_hz", 1, 1_000_000),
    _whole("n_samples"),
    _db("peak_dbfs", optional=False),
    _db("noise_dbfs", optional=False),
)
WARNING = (_text("code"), _text("message"), Column("spoils", "texts"))
BARS = (
    _db("buzz_db", optional=False),
    _word("heard", HeardAs, optional=False),
    Column("pitch_cents", "number", 2, low=0.0),
    Column("short_ratio", "number", 3, low=1.0),
    Column("dead_ratio", "number", 3, low=1.0),
)
NOTE = (
    _whole("id", 1),
    _whole("recording"),
    _whole("string", 1),
    _whole("fret"),
    _word("direction", Direction, optional=False),
    _seconds("onset_s", optional=False),
    _seconds("end_s", optional=False),
)
"""What `Note` and the file both call by the same name and mean alike."""
PLACED = (
    Column("pitch_hz", "number", 3, optional=True, low=0.0),
    _share("placed", optional=False),
    Column("judged", "truth"),
    _text("reason"),
    Column("faults", "texts", late=True, words=get_args(NoteFault)),
)
"""The rest of `Note`, under the key "search"."""
MEASURED = (
    Column("pitch_hz", "number", 4, optional=True, low=0.0),
    Column("cents", "number", 2, optional=True),
    Column("pitch_error_cents", "number", 3, optional=True, low=0.0),
    Column("glide_cents", "number", 2, optional=True, late=True),
    Column("inharmonicity", "number", 4, significant=True, optional=True),
    _db("attack_dbfs", optional=False),
    _rate("decay_db_per_s"),
    _rate("decay_low_db_per_s"),
    _rate("decay_high_db_per_s"),
    _seconds("t60_s"),
    _rate("whole_decay_db_per_s"),
    _seconds("edt_s"),
    _seconds("t20_s"),
    _seconds("t30_s"),
    _db("buzz_db"),
    _db("buzz_amp_db"),
    _share("contact"),
    _seconds("contact_until_s"),
    Column("judged", "truth"),
    _text("reason"),
    Column("seen_decay_db_per_s", "number", 3, optional=True, late=True),
    Column("seen_decay_error_db_per_s", "number", 3, optional=True, late=True, low=0.0),
    Column("seen_room_db", "number", 4, optional=True, late=True, low=0.0),
    Column("attack_contact", "number", 4, optional=True, late=True, low=0.0, high=1.0),
)
POSITION = (
    _whole("string", 1),
    _whole("fret"),
    Column("notes", "wholes", low=1),
    Column("cents", "number", 2, optional=True),
    Column("cents_spread", "number", 2, optional=True, low=0.0),
    _rate("decay_db_per_s"),
    Column("decay_spread_db_per_s", "number", 3, optional=True, low=0.0),
    Column("decay_ratio", "number", 3, optional=True),
    _seconds("t60_s"),
    _db("buzz_db"),
    _db("buzz_amp_db"),
    Column("buzz_spread_db", "number", 2, optional=True, low=0.0),
    _share("contact"),
    _word("buzz", Buzz),
    _word("sustain", Sustain),
    _word("pitch", PitchWord),
    _text("reason"),
    Column("passes_disagree", "truth", late=True),
    Column("silent", "truth", late=True),
)
FINDING = (
    _word("kind", FindingKind, optional=False),
    Column("strings", "wholes", low=1),
    Column("frets", "wholes"),
    _share("confidence", optional=False),
    Column("height_mm", "number", 3, optional=True),
    Column("height_low_mm", "number", 3, optional=True),
    Column("height_high_mm", "number", 3, optional=True),
    _text("summary"),
    _text("next_step"),
    Column("notes", "wholes", low=1),
    Column("move_mm", "number", 3, optional=True),
    Column("move_low_mm", "number", 3, optional=True),
    Column("move_high_mm", "number", 3, optional=True),
)


def to_plain(row: Any, columns: Iterable[Column]) -> dict[str, Any]:
    """Return the fields of a row as plain values, rounded."""
    return {c.name: _plain(getattr(row, c.name), c) for c in columns}


def _plain(value: Any, column: Column) -> Any:
    if value is None or column.kind == "text":
        return value
    if column.kind == "truth":
        return bool(value)
    if column.kind == "whole":
        return int(value)
    if column.kind in ("wholes", "texts"):
        return [int(v) if column.kind == "wholes" else str(v) for v in value]
    number = float(value)
    if column.significant:
        return float(f"{number:.{column.digits}g}")
    return round(number, column.digits) + 0.0  # + 0.0 makes −0.0 a 0.0


def from_plain(row: Any, columns: Iterable[Column], slot: Slot) -> dict[str, Any]:
    """Return the checked values of a row by field.

    Raises
    ------
    ScanFileError
        If a key is missing or holds something else.
    """
    if not isinstance(row, dict):
        raise slot.wrong(row, "a table")
    return {c.name: _value(row, c, slot) for c in columns}


def _value(row: Mapping[str, Any], column: Column, slot: Slot) -> Any:
    if column.name not in row:
        if column.late:
            return _LACKING.get(column.kind)
        raise ScanFileError(f"{slot.key(column.name).where} is missing; {slot.anew}")
    value = row[column.name]
    if value is None and column.optional:
        return None
    if column.kind in ("wholes", "texts"):
        return _list(value, column, slot.key(column.name))
    if not _fits(value, column, column.kind):
        raise slot.key(column.name).wrong(value, _need(column))
    return float(value) if column.kind == "number" else value


def _list(value: Any, column: Column, slot: Slot) -> tuple[Any, ...]:
    if not isinstance(value, list) or len(value) > _LONGEST_LIST:
        raise slot.wrong(value, f"a list of at most {_LONGEST_LIST}")
    kind: Kind = "whole" if column.kind == "wholes" else "text"
    for index, item in enumerate(value):
        if not _fits(item, column, kind):
            raise slot.item(index).wrong(item, _need(column))
    return tuple(value)


def _fits(value: Any, column: Column, kind: Kind) -> bool:
    if kind == "truth":
        return isinstance(value, bool)
    if kind == "text":
        short = isinstance(value, str) and len(value) <= _LONGEST_TEXT
        return short and (not column.words or value in column.words)
    if isinstance(value, bool) or not isinstance(value, int if kind == "whole" else (int, float)):
        return False
    return abs(value) <= _LARGEST_WHOLE and (
        math.isfinite(value) and column.low <= value <= column.high
    )


def _need(column: Column) -> str:
    if column.kind == "truth":
        return "true or false"
    if column.kind in ("text", "texts"):
        if column.words:
            return "one of " + ", ".join(f'"{w}"' for w in column.words)
        return f"text of at most {_LONGEST_TEXT} characters"
    kind = "a number" if column.kind == "number" else "a whole number"
    if column.low > -_LARGEST and column.high < _LARGEST:
        return f"{kind} from {column.low:g} to {column.high:g}"
    return f"{kind} from {column.low:g}" if column.low > -_LARGEST else kind
