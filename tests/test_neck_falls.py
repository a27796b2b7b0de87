"""Falls beside the usual of a string: certain or not, each by what it is worth."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.falls import falls_beside_usual, room_of
from buzzscan.neck.positions import by_position

Maker = Callable[..., MeasuredNote]
GUITAR = Guitar()


def run(note_at: Maker, *, error: float = 0.05, **special: object) -> list[MeasuredNote]:
    """Return a run on string 3 that falls by 10 dB/s, its seventh fret as `special` says."""
    rng = np.random.default_rng(3)
    notes = []
    for fret in range(23):
        values: dict[str, object] = {
            "decay_db_per_s": None,
            "seen_decay_db_per_s": 10.0 * (1.0 + error * rng.normal()),
            "seen_decay_error_db_per_s": 10.0 * error,
            "seen_room_db": 0.02,
        }
        values |= special if fret == 7 else {}
        notes.append(note_at(3, fret, id=fret + 1, **values))
    return notes


def test_notes_that_are_not_told_count_by_their_error(note_at: Maker) -> None:
    notes = run(note_at, seen_decay_db_per_s=25.0, seen_decay_error_db_per_s=4.0)
    fall = falls_beside_usual(GUITAR, by_position(notes))[3, 7]
    # the trend is known to a few per cent
    assert fall.ratio == pytest.approx(2.5, rel=0.05)
    assert fall.errors[0] == pytest.approx(0.4, rel=0.05)


def test_a_slow_fall_by_error_does_not_draw_the_trend_down(note_at: Maker) -> None:
    notes = run(note_at, error=0.4)
    falls = falls_beside_usual(GUITAR, by_position(notes))
    # 40 % per note over 23 notes: 8 % for a level, 18 % at the ends of a parabola
    assert falls[3, 11].usual_db_per_s == pytest.approx(10.0, rel=0.25)


def test_what_strikes_a_fret_is_left_out(note_at: Maker) -> None:
    falls = falls_beside_usual(GUITAR, by_position(run(note_at, contact=0.9)))
    assert (3, 7) not in falls
    assert (3, 8) in falls


def test_a_string_with_few_notes_has_no_usual_fall(note_at: Maker) -> None:
    assert falls_beside_usual(GUITAR, by_position(run(note_at)[:3])) == {}


def test_the_room_is_that_of_the_middle_note(note_at: Maker) -> None:
    assert room_of(run(note_at, seen_room_db=5.0)) == pytest.approx(0.02)
    assert room_of([note_at(3, 7, seen_decay_db_per_s=None, seen_room_db=None)]) == 0.0
