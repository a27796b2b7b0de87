"""One guitar over time."""

from __future__ import annotations

import dataclasses

import pytest

from buzzscan.comparison import compare
from buzzscan.errors import ComparisonError
from buzzscan.guitar import Guitar
from buzzscan.history import history
from buzzscan.scanning import Scan


def test_each_scan_is_a_line_against_the_one_before(neck_scan: Scan, after_scan: Scan) -> None:
    told = history([("a", neck_scan), ("b", after_scan), ("c", after_scan)])
    assert [line.label for line in told.lines] == ["a", "b", "c"]
    first, second, third = told.lines
    assert first.change == ""
    assert second.change == compare(neck_scan, after_scan).summary
    assert "cured" in second.change
    assert "cured" not in third.change
    assert told.name == "Walnut offset, job 0417"


def test_counts_are_those_of_the_verdicts(neck_scan: Scan) -> None:
    (line,) = history([("a", neck_scan)]).lines
    judged = [p for p in neck_scan.positions if p.buzz is not None]
    assert line.n_judged == len(judged)
    assert line.clean + line.slight + line.buzz + line.choked == len(judged)
    assert line.choked == 1
    assert (line.short, line.dead) == (0, 1)
    place = neck_scan.positions[0]
    fast = (dataclasses.replace(place, buzz="clean", sustain="short"), *neck_scan.positions[1:])
    (line,) = history([("a", dataclasses.replace(neck_scan, positions=fast))]).lines
    assert (line.clean, line.short) == (127, 1), "no buzz, and yet short"
    assert line.findings == ("high fret 10 under strings 4–6", "dead spot at string 3 fret 14")


def test_worst_positions_lead_with_the_most_buzz(neck_scan: Scan) -> None:
    (line,) = history([("a", neck_scan)]).lines
    assert len(line.worst) == 3
    levels = [level for *_, level in line.worst]
    assert levels == sorted(levels, reverse=True)
    assert {place[:2] for place in line.worst} == {(4, 9), (5, 9), (6, 9)}


def test_positions_choked_without_a_level_count(neck_scan: Scan) -> None:
    mute = tuple(
        dataclasses.replace(p, buzz_db=None) if p.buzz == "choked" else p
        for p in neck_scan.positions
    )
    (line,) = history([("a", dataclasses.replace(neck_scan, positions=mute))]).lines
    assert line.choked == 1


def test_other_guitars_are_named(neck_scan: Scan, after_scan: Scan) -> None:
    other = dataclasses.replace(
        after_scan, guitar=Guitar(tuning=("D2", "A2", "D3", "G3", "B3", "E4"))
    )
    with pytest.raises(ComparisonError, match="b and c: the tunings differ"):
        history([("a", neck_scan), ("b", after_scan), ("c", other)])


def test_nothing_to_show_is_refused() -> None:
    with pytest.raises(ComparisonError, match="no scan to show; give the scans"):
        history([])
