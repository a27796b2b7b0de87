"""notes.csv reads back exactly and carries no formulae."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buzzscan.report.tables import notes_csv, safe_text
from buzzscan.scanning import Scan


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_rows_hold_the_measures_in_the_units_of_the_header(neck_scan: Scan) -> None:
    rows = read(notes_csv(neck_scan))
    assert len(rows) == len(neck_scan.notes)
    for row, measured in zip(rows, neck_scan.notes, strict=True):
        assert int(row["string"]) == measured.note.string
        assert float(row["onset (s)"]) == pytest.approx(measured.note.onset_s, abs=5e-5)
        assert float(row["buzz if it strikes a fret (dB)"]) == pytest.approx(
            measured.buzz_db, abs=5e-3
        )
        assert float(row["decay (dB/s)"]) == pytest.approx(measured.decay_db_per_s, abs=5e-3)
        assert row["T20 (s)"] == "", "what was not measured is empty"
        assert row["not measured"].startswith("t20_s: range above the noise")


def test_csv_follows_rfc_4180(neck_scan: Scan) -> None:
    name = 'take "one", first\r\nday.wav'
    recordings = (replace(neck_scan.recordings[0], name=name),)
    text = notes_csv(replace(neck_scan, recordings=recordings))
    assert read(text)[0]["recording"] == name
    assert text.endswith("\r\n")
    assert '"take ""one"", first\r\nday.wav"' in text


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_formulae_in_text_are_disarmed(neck_scan: Scan, start: str) -> None:
    name = f'{start}HYPERLINK("http://example.invalid","x")'
    recordings = (replace(neck_scan.recordings[0], name=name),)
    rows = read(notes_csv(replace(neck_scan, recordings=recordings)))
    assert rows[0]["recording"] == f"'{name}"


def test_negative_numbers_stay_numbers(neck_scan: Scan) -> None:
    assert read(notes_csv(neck_scan))[0]["attack (dBFS)"] == "-9.5"


@given(st.text())
def test_safe_text_never_starts_a_formula(text: str) -> None:
    safe = safe_text(text)
    assert not safe.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert safe.endswith(text)
