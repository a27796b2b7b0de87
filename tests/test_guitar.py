"""Guitar files: what they say is taken, and what they cannot mean is refused by name."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from buzzscan.errors import GuitarError, UnreadableFileError
from buzzscan.guitar import (
    STANDARD_TUNING,
    Guitar,
    guitar_from_mapping,
    guitar_to_mapping,
    load_guitar,
)

WALNUT = """\
name = "Walnut offset, job 0417"
tuning = ["E2", "A2", "D3", "G3", "B3", "E4"]
frets = 22
scale_mm = 647.7
a4_hz = 440.0
gauges_mm = [1.17, 0.91, 0.66, 0.43, 0.33, 0.254]
wound = [true, true, true, false, false, false]
action_12_mm = [1.75, 1.7, 1.65, 1.6, 1.55, 1.5]
relief_mm = 0.2
nut_gap_mm = 0.3
radius_mm = 305
"""


def write(folder: Path, text: str | bytes) -> Path:
    path = folder / "guitar.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def test_every_key_is_read(tmp_path: Path) -> None:
    guitar = load_guitar(write(tmp_path, WALNUT))
    assert guitar == Guitar(
        name="Walnut offset, job 0417",
        tuning=STANDARD_TUNING,
        frets=22,
        scale_mm=647.7,
        a4_hz=440.0,
        gauges_mm=(1.17, 0.91, 0.66, 0.43, 0.33, 0.254),
        wound=(True, True, True, False, False, False),
        action_12_mm=(1.75, 1.7, 1.65, 1.6, 1.55, 1.5),
        relief_mm=0.2,
        nut_gap_mm=0.3,
        radius_mm=305.0,
    )
    assert guitar_from_mapping(guitar_to_mapping(guitar)) == guitar


def test_tuning_alone_is_enough() -> None:
    guitar = guitar_from_mapping({"tuning": ["E1", "A1", "D2", "G2"]})
    assert guitar.n_strings == 4
    assert guitar.scale_mm is None
    assert guitar_to_mapping(guitar) == {
        "tuning": ["E1", "A1", "D2", "G2"],
        "frets": 22,
        "a4_hz": 440.0,
        "capo": 0,
    }


def test_a_byte_order_mark_is_no_harm(tmp_path: Path) -> None:
    assert load_guitar(write(tmp_path, b"\xef\xbb\xbf" + WALNUT.encode())).frets == 22


def test_the_date_is_a_day(tmp_path: Path) -> None:
    for written in ("2026-03-14", '"2026-03-14"', "2026-03-14T09:30:00"):
        guitar = load_guitar(write(tmp_path, f'tuning = ["E2"]\ndate = {written}'.encode()))
        assert guitar.date == "2026-03-14"
        assert guitar_from_mapping(guitar_to_mapping(guitar)) == guitar


def test_one_action_serves_all_strings() -> None:
    guitar = guitar_from_mapping({"tuning": ["E2", "A2"], "action_12_mm": 2})
    assert guitar.action_12_mm == (2.0, 2.0)


# MIDI note numbers by the MIDI 1.0 specification: A4 = 69, middle C (C4) = 60.
@pytest.mark.parametrize(
    ("note", "midi"),
    [
        ("A4", 69.0),
        ("C4", 60.0),
        ("E2", 40.0),
        ("e2", 40.0),
        ("E2-8c", 39.92),
        ("E2−8c", 39.92),
        ("A2+12.5c", 45.125),
        ("F#3", 54.0),
        ("F♯3", 54.0),
        ("Bb1", 34.0),
        ("B♭1", 34.0),
        ("Cb4", 59.0),
        ("B#3", 60.0),
        ("F##3", 55.0),
        ("B0", 23.0),
    ],
)
def test_notes_are_read(note: str, midi: float) -> None:
    assert Guitar(tuning=(note,)).midi(1, 0) == pytest.approx(midi, abs=1e-9)


def test_positions_count_from_the_thinnest_string() -> None:
    guitar = Guitar(a4_hz=442.0)
    assert guitar.pitch_hz(1, 5) == pytest.approx(442.0, abs=1e-9)
    assert guitar.pitch_hz(6, 12) == pytest.approx(2 * guitar.pitch_hz(6, 0), abs=1e-9)
    for string, fret in ((0, 0), (7, 0), (1, 23), (1, -1)):
        with pytest.raises(GuitarError, match=f"no position string {string}, fret {fret}"):
            guitar.midi(string, fret)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"tuning": None}, r"tuning is missing; add it, thickest string first"),
        ({"tuning": "E2"}, r"tuning is 'E2', need a list of notes in quotes"),
        ({"tuning": [1, 2]}, r"tuning is \[1, 2\], need a list of notes"),
        ({"tuning": []}, r"tuning has 0 strings, need 1 to 18"),
        ({"tuning": ["E2"] * 19}, r"tuning has 19 strings, need 1 to 18"),
        ({"tuning": ["H2"]}, r"'H2', which is not a note; write letter"),
        ({"tuning": ["E"]}, r"'E', which is not a note"),
        ({"tuning": ["E2 -300c"]}, r"which is not a note"),
        ({"tuning": ["E2-300c"]}, r"-300 cents, limit ±100; name the nearer note"),
        ({"tuning": ["E9"]}, r"'E9', need an open string from E0 to A6; check the octave"),
        ({"frets": 0}, r"frets is 0, need a whole number from 1 to 36"),
        ({"frets": 22.5}, r"frets is 22.5, need a whole number"),
        ({"frets": True}, r"frets is true, need a whole number"),
        ({"frets": "22"}, r"frets is '22', need a whole number"),
        ({"frets": 10**40}, r"a number of more than 30 digits"),
        ({"frets": [[[1]]]}, r"a list of lists, need a whole number"),
        ({"a4_hz": 44.0}, r"a4_hz is 44.0, need a number from 380 to 500"),
        ({"a4_hz": float("nan")}, r"a4_hz is nan, need a number"),
        ({"capo": 22}, r"capo is 22, need a whole number from 0 \(none\) to 21"),
        ({"capo": -1}, r"capo is -1"),
        ({"scale_mm": 25.5}, r"scale_mm is 25.5, .*; 25.5 inches would be 647.7 mm"),
        ({"scale_mm": float("inf")}, r"scale_mm is inf"),
        ({"gauges_mm": [0.046, 0.036]}, r"0.046 inches would be 1.168 mm"),
        ({"gauges_mm": [1.0]}, r"gauges_mm has 1 values, tuning has 2 strings"),
        ({"gauges_mm": 1.0}, r"gauges_mm is 1.0, need a list of numbers, one per string"),
        ({"gauges_mm": [1.0, "x"]}, r"gauges_mm is 'x', need a number"),
        ({"wound": [True]}, r"wound has 1 values, tuning has 2 strings"),
        ({"wound": [True, 1]}, r"wound has 1, need true or false per string"),
        ({"action_12_mm": 160}, r"action_12_mm is 160.0, need a number from 0.1 to 10"),
        ({"action_12_mm": [1.6]}, r"action_12_mm has 1 values"),
        ({"relief_mm": 9}, r"relief_mm is 9.0, need a number from -2 to 3"),
        (
            {"nut_gap_mm": "0.3"},
            r"nut_gap_mm is '0.3', need a number from 0 to 5; give millimetres",
        ),
        ({"name": 417}, r"name is 417, need text in quotes"),
        ({"name": "x" * 201}, r"name has 201 characters, limit 200; shorten it"),
        ({"shop": "a\x1b[31mred"}, r"shop has a control character \(U\+001B\) at place 2"),
        ({"date": "14.3.2026"}, r"date is '14.3.2026', need year, month and day"),
        ({"date": "20260314"}, r"date is '20260314', need year"),
        ({"date": 2026}, r"date is 2026, need year, month and day, as date = 2026-03-14"),
        ({"job": "a\u202eb"}, r"job has a control character \(U\+202E\)"),
        ({"fretz": 22}, r"unknown key 'fretz'; did you mean frets\?"),
        ({"scale": 648}, r"unknown key 'scale'; did you mean scale_mm\?"),
        ({"colour": "walnut"}, r"unknown key 'colour'; known keys are tuning, frets"),
    ],
)
def test_what_cannot_be_meant_is_refused(change: dict[str, Any], message: str) -> None:
    mapping = {"tuning": ["E2", "A2"], **change}
    if mapping["tuning"] is None:
        del mapping["tuning"]
    with pytest.raises(GuitarError, match=message):
        guitar_from_mapping(mapping)


def test_gauges_listed_the_wrong_way_round_are_noticed() -> None:
    with pytest.raises(GuitarError, match=r"gauges_mm rises from 0.254 to 0.43; list them as"):
        guitar_from_mapping({"tuning": ["G3", "B3", "E4"], "gauges_mm": [0.254, 0.33, 0.43]})
    high_g = {"tuning": ["G4", "C4", "E4", "A4"], "gauges_mm": [0.6, 0.8, 0.7, 0.55]}
    assert guitar_from_mapping(high_g).gauges_mm == (0.6, 0.8, 0.7, 0.55)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "tuning is missing"),
        (b"tuning: E2", "is not TOML: Expected '='"),
        (b"\xff\xfe\x00", r"is not text in UTF-8 \(byte 0\)"),
        (b"RIFF\x24\x00\x00\x00WAVEfmt ", "is not TOML"),
        (b"a=" + b"[" * 9000, "is not TOML: nested too deeply"),
        (b'tuning=["E2"]\nfrets=' + b"9" * 5000, "a number has thousands of digits"),
        (b"#" * 10_000_000, "holds 9766 KiB, a guitar file at most 64 KiB"),
        (b'tuning = ["E2"]\ntuning = ["A2"]', "is not TOML: Cannot overwrite a value"),
        (b'[guitar]\ntuning = ["E2"]', "unknown key 'guitar'"),
    ],
)
def test_files_that_describe_no_guitar(tmp_path: Path, content: bytes, message: str) -> None:
    path = write(tmp_path, content)
    with pytest.raises(GuitarError, match=message) as caught:
        load_guitar(path)
    assert str(path) in str(caught.value)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFileError, match=r"cannot read guitar file .*No such file"):
        load_guitar(tmp_path / "absent.toml")
    with pytest.raises(UnreadableFileError, match="Is a directory"):
        load_guitar(tmp_path)
    with pytest.raises(UnreadableFileError, match="check the path"):
        load_guitar("zero\0byte.toml")
