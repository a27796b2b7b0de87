"""compare.json: what its schema says, and that it is read as it was written."""

from __future__ import annotations

import copy
import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import buzzscan
from buzzscan.comparefile import (
    StoredComparison,
    comparison_from_mapping,
    comparison_to_mapping,
    read_comparison,
    write_comparison_json,
)
from buzzscan.comparison import Comparison, compare
from buzzscan.errors import OutputError, ScanFileError, UnreadableFileError
from buzzscan.scanning import Scan

SCHEMA = json.loads(
    (Path(buzzscan.__file__).parent / "compare.schema.json").read_text(encoding="utf-8")
)


@pytest.fixture
def mapping(comparison: Comparison) -> dict[str, Any]:
    return comparison_to_mapping(comparison)


def test_file_is_what_the_schema_says(comparison: Comparison, tmp_path: Path) -> None:
    written = write_comparison_json(comparison, tmp_path / "compare.json")
    stored = json.loads(written.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(stored, SCHEMA)
    assert {p["change"] for p in stored["positions"]} >= {"cured", "better", "new", "same"}


def test_incomparable_takes_are_what_the_schema_says(neck_scan: Scan, after_scan: Scan) -> None:
    notes = tuple(dataclasses.replace(n, attack_dbfs=n.attack_dbfs - 9) for n in after_scan.notes)
    louder = dataclasses.replace(after_scan.recordings[0], noise_dbfs=-60.0)
    after = dataclasses.replace(after_scan, notes=notes, recordings=(louder,))
    plain = comparison_to_mapping(compare(neck_scan, after))
    assert plain["strength"]["gain_change_db"] is None
    jsonschema.validate(plain, SCHEMA)


def test_schema_refuses_what_is_not_in_the_format(mapping: dict[str, Any]) -> None:
    mapping["positions"][0]["change"] = "improved"
    with pytest.raises(jsonschema.ValidationError, match="improved"):
        jsonschema.validate(mapping, SCHEMA)


def test_same_comparison_same_bytes(comparison: Comparison, tmp_path: Path) -> None:
    one = write_comparison_json(comparison, tmp_path / "one.json").read_bytes()
    assert one == write_comparison_json(comparison, tmp_path / "two.json").read_bytes()


def test_what_is_read_is_what_was_compared(comparison: Comparison, tmp_path: Path) -> None:
    write_comparison_json(comparison, tmp_path / "compare.json")
    stored = read_comparison(tmp_path)
    assert isinstance(stored, StoredComparison)
    assert stored.findings == comparison.findings
    assert stored.remarks == comparison.remarks
    assert stored.summary == comparison.summary
    assert stored.after.guitar == comparison.after.guitar
    assert stored.before.recordings == (("before take.wav", "0" * 64),)
    assert stored.before.n_notes == len(comparison.before.notes)
    for was, now in zip(comparison.positions, stored.positions, strict=True):
        assert (was.string, was.fret, was.change, was.reason) == (
            now.string,
            now.fret,
            now.change,
            now.reason,
        )
        if was.buzz_change_db is not None:
            assert now.buzz_change_db is not None
            assert math.isclose(was.buzz_change_db, now.buzz_change_db, abs_tol=0.005)
    assert [s.pick for s in stored.strength.strings] == ["alike"] * 6


def _with(mapping: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    changed = copy.deepcopy(mapping)
    inner = changed
    for key in path[:-1]:
        inner = inner[key]
    if value is KeyError:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return changed


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (("format",), "buzzscan-scan", 'format is .*need "buzzscan-compare"'),
        (("version",), 2, "version is 2, this program reads 1"),
        (("positions",), None, "positions is null, need a list"),
        (("positions", 3, "change"), "gone", r"positions\[3\].change is 'gone', need one of"),
        (("positions", 3, "fret"), KeyError, r"positions\[3\].fret is missing"),
        (("strength",), [], "strength is a list of 0, need a table"),
        (("strength", "strings", 0, "pick"), 3, r"strength.strings\[0\].pick is 3"),
        (("before", "guitar", "frets"), 99, "frets is 99"),
        (("after", "recordings"), {}, "after.recordings is a table of 0, need a list"),
        (("findings", 0, "kind"), "ghost", r"findings\[0\].kind is 'ghost'"),
        (("summary",), 1, "summary is 1"),
    ],
)
def test_wrong_files_are_refused_by_place(
    mapping: dict[str, Any], path: tuple[Any, ...], value: Any, message: str, tmp_path: Path
) -> None:
    where = tmp_path / "compare.json"
    where.write_text(json.dumps(_with(mapping, path, value)), encoding="utf-8")
    with pytest.raises(ScanFileError, match=message):
        read_comparison(where)


def test_unknown_keys_are_passed_over(mapping: dict[str, Any]) -> None:
    assert comparison_from_mapping({**mapping, "later": 1}) == comparison_from_mapping(mapping)


@pytest.mark.parametrize("data", [b"", b"{", b"\xff\xfe", b"[" * 100_000, b"3"])
def test_what_is_not_json_is_refused(data: bytes, tmp_path: Path) -> None:
    where = tmp_path / "compare.json"
    where.write_bytes(data)
    with pytest.raises(ScanFileError):
        read_comparison(where)


def test_missing_file_says_what_to_give(comparison: Comparison, tmp_path: Path) -> None:
    with pytest.raises(UnreadableFileError, match=r"give a compare\.json"):
        read_comparison(tmp_path)
    with pytest.raises(OutputError, match="give another folder"):
        write_comparison_json(comparison, tmp_path / "nowhere" / "compare.json")
