"""scan.json says what its schema says, reads back as it was, and refuses what is not whole."""

from __future__ import annotations

import copy
import dataclasses
import json
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from buzzscan import scanfields
from buzzscan.errors import OutputError, RecordingError, ScanFileError, UnreadableFileError
from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import Bars, Finding, Position
from buzzscan.notes.note import Note
from buzzscan.recording import Recording, RecordingWarning, open_recording
from buzzscan.scanfile import read_scan, scan_from_mapping, scan_to_mapping, write_scan_json
from buzzscan.scanning import Scan


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return dict(json.loads((files("buzzscan") / "scan.schema.json").read_text("utf-8")))


@pytest.fixture
def mapping(neck_scan: Scan) -> dict[str, Any]:
    return scan_to_mapping(neck_scan)


def test_the_schema_is_a_schema(schema: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator.check_schema(schema)


def test_a_scan_is_what_the_schema_says(schema: dict[str, Any], mapping: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator(schema).validate(mapping)
    del mapping["notes"][0]["cents"]
    with pytest.raises(jsonschema.ValidationError, match="'cents' is a required property"):
        jsonschema.Draft202012Validator(schema).validate(mapping)


def test_a_file_of_an_earlier_program_is_read(
    schema: dict[str, Any], mapping: dict[str, Any]
) -> None:
    searched = [note["search"] for note in mapping["notes"]]
    for rows, columns in (
        (mapping["notes"], scanfields.MEASURED),
        (searched, scanfields.PLACED),
        (mapping["positions"], scanfields.POSITION),
    ):
        for row in rows:
            for column in columns:
                if column.late:
                    del row[column.name]
    jsonschema.Draft202012Validator(schema).validate(mapping)
    scan = scan_from_mapping(mapping)
    assert {n.glide_cents for n in scan.notes} == {None}
    assert {n.note.faults for n in scan.notes} == {()}
    assert {(p.passes_disagree, p.silent) for p in scan.positions} == {(False, False)}
    places = [p for p in mapping["positions"] if not p["notes"]]
    places[0]["reason"] = "no note where there was time for one: choked, or left out"
    heard = next(p for p in mapping["positions"] if p["buzz"] == "buzz")
    heard["reason"] = "passes disagree: contact 95 % and 2 %"
    scan = scan_from_mapping(mapping)
    assert sum(p.silent for p in scan.positions) == 1, "told by the reason"
    assert sum(p.doubtful for p in scan.positions) == 1


def test_bars_that_nothing_can_be_judged_by_are_named_with_the_file(
    mapping: dict[str, Any], tmp_path: Path
) -> None:
    mapping["bars"]["dead_ratio"] = 1.2
    path = tmp_path / "scan.json"
    path.write_text(json.dumps(mapping), "utf-8")
    with pytest.raises(ScanFileError, match=r"scan\.json: bars: dead_ratio is 1\.2"):
        read_scan(path)


def test_the_schema_names_every_column(schema: dict[str, Any]) -> None:
    parts = schema["properties"]
    note = parts["notes"]["items"]
    for columns, described in (
        (scanfields.RECORDING, parts["recordings"]["items"]),
        (scanfields.WARNING, parts["recordings"]["items"]["properties"]["warnings"]["items"]),
        (scanfields.BARS, parts["bars"]),
        (scanfields.NOTE, note),
        (scanfields.MEASURED, note),
        (scanfields.PLACED, note["properties"]["search"]),
        (scanfields.POSITION, parts["positions"]["items"]),
        (scanfields.FINDING, parts["findings"]["items"]),
    ):
        for column in columns:
            assert (column.name in described["required"]) != column.late
            of = described["properties"][column.name]
            assert ("null" in of["type"]) == column.optional, column.name
            enum = of.get("items", of).get("enum", [])
            assert [w for w in enum if w is not None] == list(column.words)


@pytest.mark.parametrize(
    ("kind", "columns", "apart"),
    [
        (Recording, scanfields.RECORDING, {"warnings", "path", "source"}),
        (RecordingWarning, scanfields.WARNING, set()),
        (Bars, scanfields.BARS, set()),
        (Note, scanfields.NOTE + scanfields.PLACED, set()),
        (MeasuredNote, scanfields.MEASURED, {"note", "withheld"}),
        (Position, scanfields.POSITION, set()),
        (Finding, scanfields.FINDING, set()),
    ],
)
def test_every_field_has_a_column(
    kind: type, columns: tuple[scanfields.Column, ...], apart: set[str]
) -> None:
    assert {f.name for f in dataclasses.fields(kind)} - apart == {c.name for c in columns}


def test_the_keys_that_others_read(mapping: dict[str, Any]) -> None:
    assert (mapping["format"], mapping["version"]) == ("buzzscan-scan", 1)
    assert {"name", "sha256", "duration_s", "sample_rate_hz", "peak_dbfs", "noise_dbfs"} <= set(
        mapping["recordings"][0]
    )
    assert {"code", "message"} <= set(mapping["recordings"][0]["warnings"][0])
    note = (
        "id recording string fret direction onset_s end_s pitch_hz cents inharmonicity attack_dbfs "
        "decay_db_per_s t60_s buzz_db contact judged reason"
    )
    assert set(note.split()) <= set(mapping["notes"][0])
    position = (
        "string fret notes cents decay_db_per_s t60_s buzz_db contact buzz sustain pitch reason"
    )
    assert set(position.split()) <= set(mapping["positions"][0])
    finding = (
        "kind strings frets confidence height_mm height_low_mm height_high_mm summary next_step "
        "notes"
    )
    assert set(finding.split()) <= set(mapping["findings"][0])


def test_a_scan_reads_back_as_it_was(neck_scan: Scan, tmp_path: Path) -> None:
    written = write_scan_json(neck_scan, tmp_path / "scan.json")
    for where in (tmp_path, written):
        back = read_scan(where)
        assert back.guitar == neck_scan.guitar
        assert back.bars == neck_scan.bars
        assert back.remarks == neck_scan.remarks
        assert [n.note.id for n in back.notes] == [n.note.id for n in neck_scan.notes]
        assert back.findings == neck_scan.findings
        again = write_scan_json(back, tmp_path / "again.json")
        assert again.read_bytes() == written.read_bytes()


def test_nothing_is_lost_but_digits(neck_scan: Scan, mapping: dict[str, Any]) -> None:
    back = scan_from_mapping(mapping)
    for old, new in zip(neck_scan.positions, back.positions, strict=True):
        for field in dataclasses.fields(Position):
            a, b = getattr(old, field.name), getattr(new, field.name)
            if isinstance(a, float):
                assert b == pytest.approx(a, rel=1e-3, abs=0.006), field.name
            else:
                assert a == b, field.name


def test_numpy_numbers_are_numbers(neck_scan: Scan, tmp_path: Path) -> None:
    note = dataclasses.replace(neck_scan.notes[0], cents=np.float32(1.5), judged=np.bool_(True))  # type: ignore[arg-type]
    scan = dataclasses.replace(neck_scan, notes=(note, *neck_scan.notes[1:]))
    back = read_scan(write_scan_json(scan, tmp_path / "scan.json"))
    assert back.notes[0].cents == 1.5


def test_not_a_number_is_never_written(neck_scan: Scan, tmp_path: Path) -> None:
    note = dataclasses.replace(neck_scan.notes[0], cents=float("nan"))
    scan = dataclasses.replace(neck_scan, notes=(note, *neck_scan.notes[1:]))
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_scan_json(scan, tmp_path / "scan.json")
    assert not (tmp_path / "scan.json").exists()


@pytest.fixture
def scan_of_file(
    neck_scan: Scan, tmp_path: Path, make_run: Callable[..., npt.NDArray[np.float64]]
) -> tuple[Scan, Path]:
    sound = tmp_path / "takes" / "take.wav"
    sound.parent.mkdir()
    soundfile.write(sound, make_run(frets=(0, 1)), 44100)
    return dataclasses.replace(neck_scan, recordings=(open_recording(sound),)), sound


def test_sound_is_found_again_from_the_file(
    scan_of_file: tuple[Scan, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scan, sound = scan_of_file
    out = tmp_path / "reports" / "take"
    out.mkdir(parents=True)
    written = write_scan_json(scan, tmp_path / "elsewhere.json", folder=out)
    moved = written.rename(out / "scan.json")
    assert json.loads(moved.read_text("utf-8"))["recordings"][0]["path"] == "../../takes/take.wav"
    monkeypatch.chdir("/")
    back = read_scan(moved).recordings[0]
    np.testing.assert_array_equal(back.read(100, 200), scan.recordings[0].read(100, 200))
    soundfile.write(sound, np.full(30000, 0.1), 44100)
    with pytest.raises(RecordingError, match="cannot be played"):
        read_scan(moved).recordings[0].read(0, 10)
    soundfile.write(sound, 0.1 * np.sin(np.arange(30000)), 44100)
    with pytest.raises(RecordingError, match=r"its bytes changed\); scan it again"):
        read_scan(moved).recordings[0].read(0, 10)
    sound.unlink()
    with pytest.raises(RecordingError, match=r"cannot be played: .*No such file"):
        read_scan(moved).recordings[0].read(0, 10)


def test_sound_from_memory_is_not_there_again(mapping: dict[str, Any]) -> None:
    with pytest.raises(RecordingError, match="are not in the scan file; scan it again"):
        scan_from_mapping(mapping).recordings[0].read(0, 10)


def _set(path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(mapping: dict[str, Any]) -> None:
        *way, last = [int(k) if k.isdigit() else k for k in path.split(".")]
        target: Any = mapping
        for key in way:
            target = target[key]
        target[last] = value

    return change


def _drop(path: str) -> Callable[[dict[str, Any]], None]:
    def change(mapping: dict[str, Any]) -> None:
        *way, last = [int(k) if k.isdigit() else k for k in path.split(".")]
        target: Any = mapping
        for key in way:
            target = target[key]
        del target[last]

    return change


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (_set("format", "other"), r'format is \'other\', need "buzzscan-scan"'),
        (_set("version", 2), r"version is 2, this program reads 1; use the program that wrote"),
        (_set("version", 1.0), r"version is 1.0, need a whole number"),
        (_drop("guitar"), r"guitar is null, need a table"),
        (_drop("bars"), r"bars is null, need a table"),
        (_set("bars.heard", "radio"), r'bars.heard is \'radio\', need one of "acoustic", "amp"'),
        (_set("guitar.frets", 99), r"frets is 99, need a whole number from 1 to 36"),
        (_set("guitar.colour", "x"), r"unknown key 'colour'"),
        (_set("guitar.frets", 5), r"is at string 6, fret 6; the guitar has 6 strings and 5 frets"),
        (_set("notes", {}), r"notes is a table of 0, need a list"),
        (_drop("notes.0.cents"), r"notes\[0\].cents is missing; write the file anew with scan"),
        (_set("notes.3.string", 7), r"notes\[3\] is at string 7, fret"),
        (_set("notes.3.id", 1), r"two notes have the same id"),
        (_set("notes.3.id", True), r"notes\[3\].id is true, need a whole number from 1"),
        (_set("notes.3.recording", 1), r"notes\[3\].recording is 1, need under 1"),
        (_set("notes.3.end_s", 0.0), r"notes\[3\].end_s is 0.0, need a time after onset_s"),
        (_set("notes.3.contact", 1.2), r"notes\[3\].contact is 1.2, need a number from 0 to 1"),
        (_set("notes.3.direction", "left"), r'need one of "up", "down"'),
        (_set("notes.3.pitch_hz", "440"), r"notes\[3\].pitch_hz is '440', need a number from 0"),
        (_set("notes.3.cents", 10**400), r"is a whole number that is too large"),
        (_set("notes.3.search", None), r"notes\[3\].search is null, need a table"),
        (_set("notes.3.withheld", {"a": 1}), r"withheld is a table of 1, need a list"),
        (_set("notes.3.reason", "x" * 5000), r"need text of at most 4000 characters"),
        (_set("positions.2.notes", [9999]), r"positions\[2\].notes is 9999, need the id of a note"),
        (_set("positions.2.notes", "12"), r"positions\[2\].notes is '12', need a list"),
        (_set("positions.2.buzz", "loud"), r'need one of "clean", "slight", "buzz", "choked"'),
        (_set("findings.0.kind", "ghost"), r'need one of "high fret", "low fret"'),
        (_set("findings.0.frets", [40]), r"findings\[0\] is at string 1, fret 40"),
        (_set("findings.0.strings", [0]), r"findings\[0\].strings\[0\] is 0, need a whole number"),
        (_set("recordings.0.sample_rate_hz", 0), r"need a whole number from 1 to 1e\+06"),
        (_set("recordings.0.path", 3), r"recordings\[0\].path is 3, need text"),
        (_set("recordings.0.warnings", None), r"warnings is null, need a list"),
        (_set("remarks", ["a", None]), r"remarks\[1\] is null, need text"),
    ],
)
def test_what_the_format_does_not_say_is_refused(
    mapping: dict[str, Any],
    tmp_path: Path,
    change: Callable[[dict[str, Any]], None],
    message: str,
) -> None:
    broken = copy.deepcopy(mapping)
    change(broken)
    (tmp_path / "scan.json").write_text(json.dumps(broken), "utf-8")
    with pytest.raises(ScanFileError, match=message) as caught:
        read_scan(tmp_path)
    assert str(tmp_path / "scan.json") in str(caught.value)


def test_keys_of_later_programs_are_passed_over(mapping: dict[str, Any]) -> None:
    mapping["colour"] = "walnut"
    mapping["notes"][0]["sparkle"] = [1, 2]
    assert scan_from_mapping(mapping).guitar.name == "Walnut offset, job 0417"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "not whole JSON"),
        (b"{", "not whole JSON"),
        (b"\xff\xfe", "not JSON text"),
        (b"[" * 100_000, "not JSON text"),
        (b"[]", "the file is a list of 0, need a table"),
        (b'{"format": NaN}', "it holds NaN, which is no number"),
        (b'{"format": ' + b"9" * 5000 + b"}", "not whole JSON"),
        (b'{"format": "buzzscan-scan"}', "version is missing"),
    ],
)
def test_files_that_hold_no_scan(tmp_path: Path, content: bytes, message: str) -> None:
    (tmp_path / "scan.json").write_bytes(content)
    with pytest.raises(ScanFileError, match=message):
        read_scan(tmp_path)


def test_files_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(UnreadableFileError, match=r"cannot read .*scan.json: No such file"):
        read_scan(tmp_path)
    with pytest.raises(UnreadableFileError, match=r"give a scan.json or the folder it is in"):
        read_scan("zero\0byte")
    monkeypatch.setattr("buzzscan.scanfile.MOST_FILE_BYTES", 10)
    (tmp_path / "scan.json").write_bytes(b" " * 11)
    with pytest.raises(ScanFileError, match=r"the limit of a scan.json"):
        read_scan(tmp_path)


def test_a_file_that_cannot_be_written(neck_scan: Scan, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"cannot write .*No such file or directory; make room"):
        write_scan_json(neck_scan, tmp_path / "absent" / "scan.json")


def test_the_guitar_is_written_as_read(mapping: dict[str, Any]) -> None:
    assert mapping["guitar"]["tuning"] == list(Guitar().tuning)
    assert mapping["guitar"]["scale_mm"] == 647.7
    assert "gauges_mm" not in mapping["guitar"]
