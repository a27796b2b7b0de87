"""Places that were picked, by the clock, and gave no note."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence

import pytest

from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.gaps import silent_passes

Maker = Callable[..., MeasuredNote]
PACE_S = 0.4


@pytest.fixture
def run(note_at: Maker) -> Callable[..., list[MeasuredNote]]:
    """Return a maker of one pass over a string: (fret, steps of time after the note before)."""

    def make(
        steps: Sequence[tuple[int, float]], *, string: int = 3, direction: str = "up"
    ) -> list[MeasuredNote]:
        notes, onset_s = [], 1.0
        for fret, step in steps:
            onset_s += step * PACE_S
            made = note_at(string, fret, direction=direction)
            placed = dataclasses.replace(made.note, onset_s=onset_s, end_s=onset_s + 0.3)
            notes.append(dataclasses.replace(made, note=placed))
        return notes

    return make


STEADY = [(fret, 1.0) for fret in range(8)]


def test_a_whole_run_has_no_gap(run: Callable[..., list[MeasuredNote]]) -> None:
    assert silent_passes(run(STEADY)) == {}


def test_a_note_that_is_missing_with_its_time_was_picked(
    run: Callable[..., list[MeasuredNote]],
) -> None:
    notes = run([*STEADY, (9, 2.0), (10, 1.0)])
    assert silent_passes(notes) == {(3, 8): 1}


def test_two_frets_may_choke_in_a_row(run: Callable[..., list[MeasuredNote]]) -> None:
    notes = run([*STEADY, (10, 3.1)])
    assert silent_passes(notes) == {(3, 8): 1, (3, 9): 1}


@pytest.mark.parametrize("step", [1.0, 1.4, 3.5])
def test_a_fret_left_out_leaves_no_time(
    run: Callable[..., list[MeasuredNote]], step: float
) -> None:
    assert silent_passes(run([*STEADY, (9, step)])) == {}


def test_a_lost_stretch_is_no_row_of_chokes(run: Callable[..., list[MeasuredNote]]) -> None:
    assert silent_passes(run([*STEADY, (12, 5.0)])) == {}


def test_passes_are_counted_and_strings_kept_apart(
    run: Callable[..., list[MeasuredNote]],
) -> None:
    up = run([*STEADY, (9, 2.0)])
    down = run([(9, 30.0), (7, 2.0), *((f, 1.0) for f in range(6, -1, -1))], direction="down")
    # the next string begins two frets on and two steps later: no step along one string
    other = run([(2, 60.0), (3, 1.0), (4, 1.0)], string=2)
    assert silent_passes([*down, *other, *up]) == {(3, 8): 2}


def test_notes_at_one_time_have_no_pace(note_at: Maker) -> None:
    assert silent_passes([note_at(3, fret) for fret in range(8)]) == {}


def test_a_fast_pass_says_nothing_of_a_slow_one(run: Callable[..., list[MeasuredNote]]) -> None:
    """At twice the time a note, a fret left out leaves a gap that two fast notes would fill."""
    fast = run(STEADY, string=4)
    slow = run([(fret, 2.0) for fret in (0, 1, 2, 3, 4, 6, 7)], string=3)
    assert silent_passes([*fast, *slow]) == {}


def test_few_steps_tell_no_pace(run: Callable[..., list[MeasuredNote]]) -> None:
    assert silent_passes(run([(0, 1.0), (1, 1.0), (3, 2.0)])) == {}
