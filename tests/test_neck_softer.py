"""A run played hard and soft: the hard one is what buzz is judged by."""

from __future__ import annotations

from collections.abc import Callable

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.judging import judge
from buzzscan.neck.softer import hard_takes_only, soft_takes
from buzzscan.neck.verdict import Position

Maker = Callable[..., MeasuredNote]
FRETS = range(13)
STRIKES_AT = 7


def take(
    note_at: Maker, recording: int, *, attack_dbfs: float, contact: float
) -> list[MeasuredNote]:
    """Return one string; `contact` is that of the fret that strikes."""
    return [
        note_at(
            3,
            fret,
            id=100 * recording + fret,
            recording=recording,
            onset_s=1.0 + 0.5 * fret,
            end_s=1.4 + 0.5 * fret,
            attack_dbfs=attack_dbfs,
            contact=contact if fret == STRIKES_AT else 0.004,
            buzz_db=-15.0 if fret == STRIKES_AT and contact > 0.5 else -60.0,
        )
        for fret in FRETS
    ]


def at_the_fret(notes: list[MeasuredNote]) -> Position:
    positions = judge(Guitar(), notes).positions
    return next(p for p in positions if (p.string, p.fret) == (3, STRIKES_AT))


def test_a_softer_take_is_found_by_how_much(note_at: Maker) -> None:
    hard = take(note_at, 0, attack_dbfs=-10.0, contact=0.9)
    soft = take(note_at, 1, attack_dbfs=-18.0, contact=0.01)
    assert soft_takes(hard + soft) == {1: 8.0}


def test_takes_picked_alike_are_both_judged(note_at: Maker) -> None:
    one = take(note_at, 0, attack_dbfs=-10.0, contact=0.9)
    other = take(note_at, 1, attack_dbfs=-13.0, contact=0.9)
    assert soft_takes(one + other) == {}
    assert hard_takes_only(one + other, {}) == tuple(one + other)


def test_a_soft_take_does_not_talk_buzz_away(note_at: Maker) -> None:
    hard = take(note_at, 0, attack_dbfs=-10.0, contact=0.9)
    soft = take(note_at, 1, attack_dbfs=-18.0, contact=0.001)
    at = at_the_fret(hard + soft)
    assert at.buzz == "buzz"
    assert at.reason == "rings free when picked 8 dB softer: it strikes with the swing"


def test_what_strikes_when_soft_too_is_not_told_free(note_at: Maker) -> None:
    hard = take(note_at, 0, attack_dbfs=-10.0, contact=0.9)
    soft = take(note_at, 1, attack_dbfs=-18.0, contact=0.8)
    assert not at_the_fret(hard + soft).reason


def test_a_place_that_only_the_soft_take_holds_is_judged_by_it(note_at: Maker) -> None:
    hard = take(note_at, 0, attack_dbfs=-10.0, contact=0.9)
    hard = [n for n in hard if n.note.fret != STRIKES_AT]
    soft = take(note_at, 1, attack_dbfs=-18.0, contact=0.8)
    assert at_the_fret(hard + soft).contact is not None
    assert at_the_fret(hard + soft).buzz == "buzz"


def test_few_places_in_common_say_nothing(note_at: Maker) -> None:
    hard = take(note_at, 0, attack_dbfs=-10.0, contact=0.9)[:5]
    soft = take(note_at, 1, attack_dbfs=-18.0, contact=0.01)
    assert soft_takes(hard + soft) == {}
