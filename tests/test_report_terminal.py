"""The terminal text fits its width, says all without colour, and passes no control codes."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from buzzscan.report import render_terminal
from buzzscan.scanning import Scan

CODES = re.compile(r"\x1b\[[0-9;]*m")


def test_map_reads_without_colour(neck_scan: Scan) -> None:
    lines = render_terminal(neck_scan, color=False).splitlines()
    head = next(i for i, line in enumerate(lines) if line.lstrip().startswith("0  1  2"))
    sixth = lines[head + 6]
    assert sixth.startswith("6 E2")
    assert sixth[5:].split() == [*".......", "s", "B", "X", *"............."]
    assert lines[head + 3][5 + 3 * 14 :].split()[0] == ".D", "a dead spot that does not buzz"
    assert lines[head + 2].endswith(".+ .+ .+"), "sharp notes"
    assert lines[head + 1][5:].split() == ["."] * 21, "two positions were not played"


def test_passes_that_disagree_are_marked(neck_scan: Scan) -> None:
    text = render_terminal(neck_scan, color=False)
    assert "B?" not in text
    reason = "passes disagree: contact 95 % and 2 %"
    doubted = tuple(
        replace(p, reason=reason, passes_disagree=True) if p.buzz == "buzz" else p
        for p in neck_scan.positions
    )
    marked = render_terminal(replace(neck_scan, positions=doubted), color=False)
    assert "B? in one pass, not in another" in " ".join(marked.split())
    before, after = (t.splitlines()[3:10] for t in (text, marked))
    assert [line.replace("B?", "B ") for line in after] == before
    assert before != after
    slight = tuple(
        replace(p, passes_disagree=True) if p.buzz == "slight" else p for p in neck_scan.positions
    )
    key = " ".join(render_terminal(replace(neck_scan, positions=slight), color=False).split())
    assert "; s? in one pass, not in another" in key


def test_findings_warnings_and_remarks_are_all_said(neck_scan: Scan) -> None:
    text = " ".join(render_terminal(neck_scan, color=False).split())
    assert "1. high fret: fret 10, strings 4-6, confidence 93 %" in text
    assert "Next: Rock a short straightedge" in text
    assert "Warning: hum at 50 Hz" in text
    assert "Note: 2.4 s of talk" in text
    assert "272 notes found, 272 judged" in text


def test_what_is_bad_without_a_cause_has_a_next_step(neck_scan: Scan) -> None:
    text = " ".join(render_terminal(replace(neck_scan, findings=()), color=False).split())
    assert "No cause found: 1 position chokes (fret 9, string 6), 5 positions buzz" in text
    assert "Next: Play it again" in text


def test_colour_changes_nothing_but_colour(neck_scan: Scan) -> None:
    plain = render_terminal(neck_scan, color=False)
    coloured = render_terminal(neck_scan, color=True)
    assert "\x1b" not in plain
    assert coloured != plain
    assert CODES.sub("", coloured) == plain


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize(
    ("tuning", "frets"),
    [
        (("E2", "A2", "D3", "G3", "B3", "E4"), 22),
        (("F#1-14c", "B1", "E2", "A2", "D3", "G3", "B3", "E4"), 24),
        (("B0", "E1", "A1", "D2"), 36),
    ],
)
def test_lines_fit(
    make_scan: Callable[..., Scan],
    neck_scan: Scan,
    width: int,
    tuning: tuple[str, ...],
    frets: int,
) -> None:
    guitar = replace(neck_scan.guitar, tuning=tuning, frets=frets, action_12_mm=None)
    lines = render_terminal(make_scan(guitar), width=width, color=False).splitlines()
    assert max(map(len, lines)) <= width
    for string in range(1, len(tuning) + 1):
        assert sum(line.startswith(f"{string} ") for line in lines) >= 1


def test_names_cannot_steer_the_terminal(neck_scan: Scan) -> None:
    hostile = "\x1b]0;owned\x07\x1b[2Jname\r\n\u202e"
    recordings = (replace(neck_scan.recordings[0], name=hostile),)
    text = render_terminal(
        replace(neck_scan, recordings=recordings, remarks=(hostile,)), color=False
    )
    assert not set(text) & {"\x1b", "\x07", "\r", "\u202e"}
