"""Notes that do not fall are no plucked strings."""

from __future__ import annotations

from collections.abc import Callable

from buzzscan.measures.measured import MeasuredNote
from buzzscan.measures.sustaining import held_remarks

Maker = Callable[..., MeasuredNote]


def falling(note_at: Maker, rates: list[float | None]) -> list[MeasuredNote]:
    return [note_at(2, fret, id=fret, whole_decay_db_per_s=r) for fret, r in enumerate(rates)]


def test_notes_that_hold_their_level_are_doubted(note_at: Maker) -> None:
    (told,) = held_remarks(falling(note_at, [0.5] * 12 + [6.0] * 5))
    assert "0.5 dB/s" in told


def test_a_slow_bass_is_not(note_at: Maker) -> None:
    assert held_remarks(falling(note_at, [2.2] * 17)) == ()


def test_few_notes_say_nothing(note_at: Maker) -> None:
    assert held_remarks(falling(note_at, [0.1] * 9 + [None] * 5)) == ()
