"""compare.json: a comparison on disk, and back.

Conventions
-----------
Format "buzzscan-compare", version 1; `compare.schema.json` beside this module describes it.
Keys are the names of the fields; what was not measured is null. Numbers are rounded to what is
sensible, so the same comparison gives the same bytes.

Limits
------
The two scans are named by their guitar and recordings, not held: what is read back is what the
comparison said. To compare again, read both scan.json.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import buzzscan
from buzzscan.comparison import (
    Change,
    ComparedFinding,
    ComparedPosition,
    Comparison,
    Pick,
    Strength,
    StringStrength,
)
from buzzscan.errors import GuitarError, ScanFileError
from buzzscan.guitar import Guitar, guitar_from_mapping, guitar_to_mapping
from buzzscan.jsonfile import read_result_bytes, write_result
from buzzscan.neck.verdict import Buzz, FindingKind
from buzzscan.scanfields import Column, Slot, from_plain, to_plain
from buzzscan.scanning import Scan

__all__ = [
    "COMPARISON_NAME",
    "FORMAT",
    "VERSION",
    "ComparedScan",
    "StoredComparison",
    "comparison_from_mapping",
    "comparison_to_mapping",
    "read_comparison",
    "write_comparison_json",
]

FORMAT, VERSION = "buzzscan-compare", 1
COMPARISON_NAME = "compare.json"
MOST_FILE_BYTES = 16 * 1024**2
"""A position takes 250 bytes, so this is some hundred of the largest necks."""

_LEVEL = Column("level_change_db", "number", 2)
_GAIN = Column("gain_change_db", "number", 2, optional=True)
_PICKED = Column("pick_change_db", "number", 2, optional=True)
_PICK = Column("pick", "text", words=get_args(Pick))
_WHICH = Column("string", "whole", low=1)
_CHANGE = Column("change", "text", words=get_args(Change))
STRENGTH = (_LEVEL, _GAIN, _PICKED, _PICK, Column("alike", "truth"), Column("sentence", "text"))
STRING_STRENGTH = (_WHICH, _LEVEL, _GAIN, _PICKED, _PICK)
POSITION = (
    _WHICH,
    Column("fret", "whole", low=0),
    Column("buzz_before", "text", optional=True, words=get_args(Buzz)),
    Column("buzz_after", "text", optional=True, words=get_args(Buzz)),
    Column("buzz_change_db", "number", 2, optional=True),
    Column("sustain_change_ratio", "number", 3, optional=True, low=0.0),
    Column("cents_change", "number", 2, optional=True),
    _CHANGE,
    Column("reason", "text"),
)
FINDING = (
    Column("kind", "text", words=get_args(FindingKind)),
    Column("strings", "wholes", low=1),
    Column("frets", "wholes"),
    _CHANGE,
    Column("summary", "text"),
)
RECORDING = (Column("name", "text"), Column("sha256", "text"))
COUNT = (Column("n_notes", "whole", low=0),)
END = (Column("remarks", "texts"), Column("summary", "text"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedScan:
    """What a comparison on disk says of one of its scans.

    Parameters
    ----------
    guitar
        As scanned; of two takes that go to other frets, with the frets of both.
    recordings
        (name, sha256) of each.
    n_notes
        Notes that were found.
    """

    guitar: Guitar
    recordings: tuple[tuple[str, str], ...]
    n_notes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredComparison:
    """A comparison as it was read from disk: all of `Comparison` but the scans themselves.

    Parameters
    ----------
    before, after
        What is known of the scans.
    strength, positions, findings, remarks, summary
        As in `Comparison`.
    """

    before: ComparedScan
    after: ComparedScan
    strength: Strength
    positions: tuple[ComparedPosition, ...]
    findings: tuple[ComparedFinding, ...]
    remarks: tuple[str, ...]
    summary: str


def comparison_to_mapping(comparison: Comparison) -> dict[str, Any]:
    """Return a comparison as plain values, in the order of the file."""
    strength = comparison.strength
    return {
        "format": FORMAT,
        "version": VERSION,
        "program": f"buzzscan {buzzscan.__version__}",
        "before": _side(comparison.before),
        "after": _side(comparison.after),
        "strength": {
            **to_plain(strength, STRENGTH),
            "strings": [to_plain(s, STRING_STRENGTH) for s in strength.strings],
        },
        "positions": [to_plain(p, POSITION) for p in comparison.positions],
        "findings": [to_plain(f, FINDING) for f in comparison.findings],
        "remarks": list(comparison.remarks),
        "summary": comparison.summary,
    }


def _side(scan: Scan) -> dict[str, Any]:
    return {
        "guitar": guitar_to_mapping(scan.guitar),
        "recordings": [to_plain(r, RECORDING) for r in scan.recordings],
        "n_notes": len(scan.notes),
    }


def write_comparison_json(comparison: Comparison, path: str | os.PathLike[str]) -> Path:
    """Write a comparison; the same comparison gives the same bytes.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    return write_result(comparison_to_mapping(comparison), path)


def read_comparison(path: str | os.PathLike[str]) -> StoredComparison:
    """Return the comparison that a compare.json holds.

    Parameters
    ----------
    path
        The file, or the folder with compare.json in it.

    Raises
    ------
    UnreadableFileError
        If the file cannot be read.
    ScanFileError
        If it does not hold what the format says.
    """
    where, data = read_result_bytes(
        path, name=COMPARISON_NAME, command="compare", most_bytes=MOST_FILE_BYTES
    )
    try:
        return comparison_from_mapping(json.loads(data.decode("utf-8")))
    except (ScanFileError, GuitarError) as error:
        raise ScanFileError(f"{where}: {error}") from error
    except (ValueError, RecursionError) as error:
        raise ScanFileError(
            f"{where} is not JSON text; give the compare.json that compare wrote"
        ) from error


def comparison_from_mapping(mapping: Any) -> StoredComparison:
    """Return the comparison that plain values hold.

    Parameters
    ----------
    mapping
        As `comparison_to_mapping` returns; keys it does not know are passed over.

    Raises
    ------
    ScanFileError
        If a key is missing or holds something else.
    """
    top = Slot("", "compare")
    head = from_plain(mapping, (Column("format", "text"),), Slot("the file", "compare"))
    if head["format"] != FORMAT:
        raise Slot("format", "compare").wrong(head["format"], f'"{FORMAT}"')
    version = from_plain(mapping, (Column("version", "whole"),), top)["version"]
    if version != VERSION:
        raise ScanFileError(
            f"version is {version}, this program reads {VERSION}; use the program that wrote "
            "the file, or compare the scans again"
        )
    strength = Slot("strength", "compare")
    row = _table(mapping, "strength", top)
    strings = tuple(
        StringStrength(**from_plain(item, STRING_STRENGTH, slot))
        for item, slot in _rows(row, "strings", strength)
    )
    return StoredComparison(
        before=_side_from(_table(mapping, "before", top), Slot("before", "compare")),
        after=_side_from(_table(mapping, "after", top), Slot("after", "compare")),
        strength=Strength(strings=strings, **from_plain(row, STRENGTH, strength)),
        positions=tuple(
            ComparedPosition(**from_plain(item, POSITION, slot))
            for item, slot in _rows(mapping, "positions", top)
        ),
        findings=tuple(
            ComparedFinding(**from_plain(item, FINDING, slot))
            for item, slot in _rows(mapping, "findings", top)
        ),
        **from_plain(mapping, END, top),
    )


def _side_from(row: dict[str, Any], slot: Slot) -> ComparedScan:
    recordings = [
        from_plain(item, RECORDING, where) for item, where in _rows(row, "recordings", slot)
    ]
    return ComparedScan(
        guitar=guitar_from_mapping(_table(row, "guitar", slot)),
        recordings=tuple((r["name"], r["sha256"]) for r in recordings),
        **from_plain(row, COUNT, slot),
    )


def _table(row: dict[str, Any], name: str, slot: Slot) -> dict[str, Any]:
    value = row.get(name)
    if not isinstance(value, dict):
        raise slot.key(name).wrong(value, "a table")
    return value


def _rows(row: dict[str, Any], name: str, slot: Slot) -> list[tuple[Any, Slot]]:
    rows = row.get(name)
    if not isinstance(rows, list):
        raise slot.key(name).wrong(rows, "a list")
    return [(item, slot.key(name).item(index)) for index, item in enumerate(rows)]
