"""scan.json: a scan on disk, and back.

Conventions
-----------
Format "buzzscan-scan", version 1; `scan.schema.json` beside this module describes it. Keys are
the names of the fields; what was not measured is null. Numbers are rounded to what is
sensible, so the same scan gives the same bytes. Paths of recordings are relative to the file.

Limits
------
Samples are not in the file: a scan that was read plays its recordings only while the sound
files are where they were.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import buzzscan
from buzzscan.errors import (
    BarsError,
    BuzzscanError,
    GuitarError,
    RecordingError,
    ScanFileError,
)
from buzzscan.guitar import Guitar, guitar_from_mapping, guitar_to_mapping
from buzzscan.jsonfile import read_result_bytes, write_result
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import Bars, Finding, Position
from buzzscan.notes.note import Note
from buzzscan.recording import Recording, RecordingWarning, Samples, open_recording
from buzzscan.scanfields import (
    BARS,
    FINDING,
    MEASURED,
    NOTE,
    PLACED,
    POSITION,
    RECORDING,
    WARNING,
    Column,
    Slot,
    from_plain,
    to_plain,
)
from buzzscan.scanning import Scan

__all__ = [
    "FORMAT",
    "VERSION",
    "read_scan",
    "scan_from_mapping",
    "scan_to_mapping",
    "write_scan_json",
]

FORMAT, VERSION = "buzzscan-scan", 1
SCAN_NAME = "scan.json"
MOST_FILE_BYTES = 64 * 1024**2
"""A note takes 1 KB: some 60 000 notes."""


class _FileSource:
    """Reads samples of a scan that was read, from its sound file if that is still the same."""

    def __init__(self, path: str | None, sha256: str, name: str) -> None:
        self._path, self._sha256 = path, sha256
        self._recording: Recording | None = None
        self._why_not = ""
        if path is None:
            self._why_not = f"the samples of {name} are not in the scan file; scan it again"

    def read(self, start: int, stop: int) -> Samples:
        """Return samples ``start`` (included) to ``stop`` (excluded), float32, mono."""
        if self._recording is None and self._path is not None and not self._why_not:
            try:
                recording = open_recording(self._path)
            except BuzzscanError as error:
                self._why_not = f"the sound of this scan cannot be played: {error}"
            else:
                if recording.sha256 == self._sha256:
                    self._recording = recording
                else:
                    self._why_not = (
                        f"{self._path} is not the recording that was scanned (its bytes "
                        "changed); scan it again"
                    )
        if self._recording is None:
            raise RecordingError(self._why_not)
        return self._recording.read(start, stop)


def scan_to_mapping(scan: Scan, *, folder: str | os.PathLike[str] = ".") -> dict[str, Any]:
    """Return a scan as plain values, in the order of the file.

    Parameters
    ----------
    scan
        What to write.
    folder
        Where the file is going to be: paths of recordings are given relative to it.
    """
    return {
        "format": FORMAT,
        "version": VERSION,
        "program": f"buzzscan {buzzscan.__version__}",
        "recordings": [_recording_to_plain(r, Path(folder)) for r in scan.recordings],
        "guitar": guitar_to_mapping(scan.guitar),
        "tuning_found": bool(scan.tuning_found),
        "offset_cents": round(float(scan.offset_cents), 2) + 0.0,
        "remarks": list(scan.remarks),
        "bars": to_plain(scan.bars, BARS),
        "notes": [_note_to_plain(n) for n in scan.notes],
        "positions": [to_plain(p, POSITION) for p in scan.positions],
        "findings": [to_plain(f, FINDING) for f in scan.findings],
    }


def _recording_to_plain(recording: Recording, folder: Path) -> dict[str, Any]:
    plain = to_plain(recording, RECORDING)
    path = None
    if recording.path is not None:
        try:
            path = Path(os.path.relpath(recording.path, folder)).as_posix()
        except ValueError:  # on another drive
            path = Path(recording.path).absolute().as_posix()
    return {
        "name": plain.pop("name"),
        "path": path,
        "sha256": plain.pop("sha256"),
        "duration_s": round(recording.duration_s, 4),
        **plain,
        "warnings": [to_plain(w, WARNING) for w in recording.warnings],
    }


def _note_to_plain(measured: MeasuredNote) -> dict[str, Any]:
    return {
        **to_plain(measured.note, NOTE),
        **to_plain(measured, MEASURED),
        "withheld": [{"measure": name, "reason": why} for name, why in measured.withheld],
        "search": to_plain(measured.note, PLACED),
    }


def write_scan_json(
    scan: Scan, path: str | os.PathLike[str], *, folder: str | os.PathLike[str] | None = None
) -> Path:
    """Write a scan; the same scan gives the same bytes.

    Parameters
    ----------
    scan
        What to write.
    path
        File to write.
    folder
        Where the file is going to be moved, if not where `path` is.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    mapping = scan_to_mapping(scan, folder=Path(path).parent if folder is None else folder)
    return write_result(mapping, path)


def read_scan(path: str | os.PathLike[str]) -> Scan:
    """Return the scan that a scan.json holds.

    Parameters
    ----------
    path
        The file, or the folder of a report with scan.json in it.

    Raises
    ------
    UnreadableFileError
        If the file cannot be read.
    ScanFileError
        If it does not hold what the format says.
    """
    where, data = read_result_bytes(
        path, name=SCAN_NAME, command="scan", most_bytes=MOST_FILE_BYTES
    )
    try:
        return scan_from_mapping(_parse(data), folder=where.parent)
    except (ScanFileError, GuitarError) as error:
        raise ScanFileError(f"{where}: {error}") from error


def _parse(data: bytes) -> Any:
    def refuse(name: str) -> Any:
        raise ScanFileError(f"it holds {name}, which is no number; write the file anew with scan")

    try:
        return json.loads(data.decode("utf-8"), parse_constant=refuse)
    except (UnicodeDecodeError, RecursionError) as error:
        raise ScanFileError("it is not JSON text; give the scan.json that scan wrote") from error
    except ValueError as error:
        if isinstance(error, ScanFileError):
            raise
        raise ScanFileError(f"it is not whole JSON ({error}); give the file scan wrote") from error


def scan_from_mapping(mapping: Any, *, folder: str | os.PathLike[str] = ".") -> Scan:
    """Return the scan that plain values hold.

    Parameters
    ----------
    mapping
        As `scan_to_mapping` returns; keys it does not know are passed over.
    folder
        What paths of recordings are relative to.

    Raises
    ------
    ScanFileError
        If a key is missing, holds something else, or refers to what is not there.
    """
    top = Slot("")
    head = from_plain(mapping, _HEAD[:1], Slot("the file"))
    if head["format"] != FORMAT:
        raise Slot("format").wrong(head["format"], f'"{FORMAT}"')
    version = from_plain(mapping, _HEAD[1:2], top)["version"]
    if version != VERSION:
        raise ScanFileError(
            f"version is {version}, this program reads {VERSION}; use the program that wrote "
            "the file, or scan the recordings again"
        )
    values = from_plain(mapping, _HEAD[2:], top)
    rows = {name: _rows(mapping, name) for name in ("recordings", "notes", "positions", "findings")}
    guitar_row = mapping.get("guitar")
    if not isinstance(guitar_row, dict):
        raise Slot("guitar").wrong(guitar_row, "a table")
    scan = Scan(
        recordings=tuple(_recording(row, slot, Path(folder)) for row, slot in rows["recordings"]),
        guitar=guitar_from_mapping(guitar_row),
        bars=_bars(mapping.get("bars"), Slot("bars")),
        notes=tuple(_note(row, slot) for row, slot in rows["notes"]),
        positions=tuple(_position(row, slot) for row, slot in rows["positions"]),
        findings=tuple(Finding(**from_plain(row, FINDING, slot)) for row, slot in rows["findings"]),
        **values,
    )
    _check_references(scan)
    return scan


def _bars(row: Any, slot: Slot) -> Bars:
    values = from_plain(row, BARS, slot)
    try:
        return Bars(**values)
    except BarsError as error:
        raise ScanFileError(f"{slot.where}: {error}; {slot.anew}") from error


def _position(row: Any, slot: Slot) -> Position:
    values = from_plain(row, POSITION, slot)
    # earlier programs said these in the reason alone
    if "passes_disagree" not in row:
        values["passes_disagree"] = values["reason"].startswith("passes disagree: contact")
    if "silent" not in row:
        values["silent"] = not values["notes"] and values["reason"] != "not played"
    return Position(**values)


_HEAD = (
    Column("format", "text"),
    Column("version", "whole"),
    Column("tuning_found", "truth"),
    Column("offset_cents", "number"),
    Column("remarks", "texts"),
)


def _rows(mapping: dict[str, Any], name: str) -> list[tuple[Any, Slot]]:
    rows = mapping.get(name)
    if not isinstance(rows, list):
        raise Slot(name).wrong(rows, "a list")
    return [(row, Slot(name).item(index)) for index, row in enumerate(rows)]


def _recording(row: Any, slot: Slot, folder: Path) -> Recording:
    values = from_plain(row, RECORDING, slot)
    path = from_plain(row, (Column("path", "text", optional=True),), slot)["path"]
    if path is not None:
        path = os.path.normpath(folder / path)
    warnings = row.get("warnings")
    if not isinstance(warnings, list):
        raise slot.key("warnings").wrong(warnings, "a list")
    return Recording(
        **values,
        warnings=tuple(
            RecordingWarning(**from_plain(w, WARNING, slot.key("warnings").item(i)))
            for i, w in enumerate(warnings)
        ),
        path=path,
        source=_FileSource(path, values["sha256"], values["name"]),
    )


def _note(row: Any, slot: Slot) -> MeasuredNote:
    place = from_plain(row, NOTE, slot)
    measured = from_plain(row, MEASURED, slot)
    search = from_plain(row.get("search"), PLACED, slot.key("search"))
    withheld = row.get("withheld")
    if not isinstance(withheld, list):
        raise slot.key("withheld").wrong(withheld, "a list")
    columns = (Column("measure", "text"), Column("reason", "text"))
    reasons = [
        from_plain(item, columns, slot.key("withheld").item(i)) for i, item in enumerate(withheld)
    ]
    return MeasuredNote(
        note=Note(**place, **search),
        **measured,
        withheld=tuple((r["measure"], r["reason"]) for r in reasons),
    )


def _check_references(scan: Scan) -> None:
    ids = [n.note.id for n in scan.notes]
    if len(set(ids)) != len(ids):
        raise ScanFileError("two notes have the same id; write the file anew with scan")
    known = set(ids)
    for index, measured in enumerate(scan.notes):
        slot = Slot("notes").item(index)
        _check_place(scan.guitar, measured.note.string, measured.note.fret, slot)
        if measured.note.recording >= len(scan.recordings):
            need = f"under {len(scan.recordings)}, the number of recordings"
            raise slot.key("recording").wrong(measured.note.recording, need)
        if measured.note.end_s < measured.note.onset_s:
            raise slot.key("end_s").wrong(measured.note.end_s, "a time after onset_s")
    for index, position in enumerate(scan.positions):
        slot = Slot("positions").item(index)
        _check_place(scan.guitar, position.string, position.fret, slot)
        _check_ids(position.notes, known, slot)
    for index, finding in enumerate(scan.findings):
        slot = Slot("findings").item(index)
        for string in finding.strings:
            _check_place(scan.guitar, string, 0, slot)
        for fret in finding.frets:
            _check_place(scan.guitar, 1, fret, slot)
        _check_ids(finding.notes, known, slot)


def _check_place(guitar: Guitar, string: int, fret: int, slot: Slot) -> None:
    if string not in guitar.strings or fret > guitar.frets:
        raise ScanFileError(
            f"{slot.where} is at string {string}, fret {fret}; the guitar has "
            f"{guitar.n_strings} strings and {guitar.frets} frets. Write the file anew with scan"
        )


def _check_ids(notes: tuple[int, ...], known: set[int], slot: Slot) -> None:
    for note in notes:
        if note not in known:
            raise slot.key("notes").wrong(note, "the id of a note")
