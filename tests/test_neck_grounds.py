"""Grounds: no clause says more than the verdicts do."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.grounds import Grounds, grounds, place_named, reach
from buzzscan.neck.positions import Place, judge_positions
from buzzscan.neck.verdict import Bars, FindingKind, Position

Maker = Callable[..., MeasuredNote]
GUITAR = Guitar()
ALL = tuple(GUITAR.strings)


@pytest.fixture
def told(note_at: Maker) -> Callable[..., Grounds]:
    """Return a maker of grounds on a neck that buzzes at some places."""

    def make(
        kind: FindingKind,
        frets: tuple[int, ...],
        strings: tuple[int, ...],
        buzzing: set[Place],
        *,
        lost: set[Place] = frozenset(),  # type: ignore[assignment]
        places: tuple[Place, ...] = (),
    ) -> Grounds:
        notes = [
            note_at(s, f, id=100 * s + f, contact=0.95, buzz_db=-25.0)
            if (s, f) in buzzing
            else note_at(s, f, id=100 * s + f)
            for s in ALL
            for f in range(23)
            if (s, f) not in lost
        ]
        positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
        by_place: dict[Place, Position] = {(p.string, p.fret): p for p in positions}
        return grounds(kind, frets, strings, places or tuple(sorted(buzzing)), by_place)

    return make


def test_another_high_fret_above_is_not_called_clear(told: Callable[..., Grounds]) -> None:
    both = told("high fret", (9,), (1, 2), {(1, 8), (2, 8), (1, 13)})
    assert both.heard == "Notes held behind fret 9 buzz"
    assert both.clear == ("fret 9 itself rings clear", "of the notes above it 25 of 26 ring clear")


def test_a_fret_that_buzzes_itself_is_said_to(told: Callable[..., Grounds]) -> None:
    some = told("high fret", (9,), (1, 2), {(1, 8), (2, 8), (1, 9)})
    assert some.clear[0] == "fret 9 itself rings clear on 1 of 2 strings"
    every = told("high fret", (9,), (1,), {(1, 8), (1, 9)})
    assert every.clear[0] == "fret 9 itself buzzes too"


def test_what_was_not_judged_is_passed_over(told: Callable[..., Grounds]) -> None:
    found = told("high fret", (9,), (1,), {(1, 8)}, lost={(1, f) for f in range(9, 23)})
    assert found.clear == ()


def test_other_strings_say_nothing_of_this_one(told: Callable[..., Grounds]) -> None:
    elsewhere = {(6, f) for f in range(1, 23)}
    slot = told("low nut slot", (0,), (1,), {(1, 0), *elsewhere})
    assert slot.heard == "The open string buzzes"
    assert slot.clear == ("the fretted notes ring clear",)
    two = told("low nut slot", (0,), (1, 6), {(1, 0), (6, 0), *elsewhere})
    assert two.heard == "The open strings buzz"
    assert two.clear == ("of the fretted notes 22 of 44 ring clear",)


def test_a_straight_neck_is_not_said_to_ring_clear_where_it_does_not(
    told: Callable[..., Grounds],
) -> None:
    frets = tuple(range(1, 7))
    most = told("neck too straight", frets, ALL, {(s, f) for s in ALL for f in range(1, 21)})
    assert most.heard == "Notes over the first frets buzz on 6 of 6 strings"
    assert most.clear == ("of those further up 12 of 96 ring clear",)
    first = told("neck too straight", frets, ALL, {(s, f) for s in (4, 5, 6) for f in (1, 2, 3)})
    assert first.heard == "Notes over the first frets buzz on 3 of 6 strings"
    assert first.clear == ("those further up ring clear",)


def test_a_rising_end_and_a_low_fret_name_the_frets_below(told: Callable[..., Grounds]) -> None:
    end = told("rising fret end", tuple(range(16, 23)), ALL, {(1, 17), (2, 18), (2, 3)})
    assert end.heard == "Notes from about fret 16 up buzz on 2 of 6 strings"
    assert end.clear == ("of those below 95 of 96 ring clear",)
    low = told("low fret", (8,), (2,), {(2, 8), *((2, f) for f in range(8))})
    assert low.heard == "The notes at fret 8 buzz"
    assert low.clear == ("the notes behind it buzz too", "those above it ring clear")


def test_buzz_without_a_verdict_is_not_called_buzz(told: Callable[..., Grounds]) -> None:
    faint = told("high fret", (9,), (1,), set(), places=((1, 8),))
    faintly = "touch a fret only while picked, or buzz too faintly to be marked"
    assert faint.heard == f"Notes held behind fret 9 {faintly}"
    end = told("rising fret end", (16, 17, 18), (1, 2), set(), places=((1, 17),))
    assert end.heard == f"Notes from about fret 16 up {faintly}"
    slot = told("low nut slot", (0,), (3,), set(), places=((3, 0),))
    assert slot.heard == (
        "The open string touches a fret only while picked, or buzzes too faintly to be marked"
    )
    silent = told("high fret", (9,), (1,), set(), lost={(1, 8)}, places=((1, 8),))
    assert silent.heard == "Notes held behind fret 9 gave no note"


@pytest.mark.parametrize(
    ("places", "words"),
    [
        ([(1, 8), (1, 7), (2, 8), (3, 8)], "frets 7–8 on string 1, fret 8 on strings 2–3"),
        ([(6, 0)], "open string 6"),
        ([(5, 0), (5, 1)], "the open string and fret 1 on string 5"),
        ([(1, 1), (2, 2), (3, 3), (4, 4)], "4 places from fret 1 to 4 on strings 1–4"),
        ([], ""),
    ],
)
def test_places_are_named_in_short_and_exactly(places: list[Place], words: str) -> None:
    assert reach(places) == words


def test_what_was_counted_before_is_not_counted_again() -> None:
    assert reach([(n, n) for n in range(1, 5)], counted=True) == "from fret 1 to 4"
    assert reach([(4, 7), (4, 8)], counted=True) == "frets 7–8 on string 4"


def test_fret_0_is_the_open_string() -> None:
    assert place_named(3, 0) == "open string 3"
    assert place_named(3, 7) == "string 3 at fret 7"
