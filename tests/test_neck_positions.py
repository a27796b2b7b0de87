"""Verdict words, both passes in one position, and reasons for what is missing."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import pytest

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import combined_contact, judge_positions
from buzzscan.neck.verdict import Bars, Position

Maker = Callable[..., MeasuredNote]
FALL = 12.0


def judged(
    notes: list[MeasuredNote],
    place: tuple[int, int],
    *,
    bars: Bars | None = None,
    offset_cents: float = 0.0,
    guitar: Guitar | None = None,
    in_a_room: bool = False,
) -> Position:
    positions = judge_positions(
        guitar or Guitar(),
        notes,
        bars=bars or Bars(),
        offset_cents=offset_cents,
        in_a_room=in_a_room,
    )
    return next(p for p in positions if (p.string, p.fret) == place)


def run(note_at: Maker, string: int = 3, **odd: dict[str, object]) -> list[MeasuredNote]:
    """Return a clean string, up and down, falling evenly; `odd` is changes by fret ("f7")."""
    notes = []
    for n, direction in enumerate(("up", "down")):
        for fret in range(23):
            changes: dict[str, object] = {
                "decay_db_per_s": FALL,
                "decay_low_db_per_s": 0.9 * FALL,
                "decay_high_db_per_s": 1.1 * FALL,
                "whole_decay_db_per_s": 14.0,
                "cents": 0.0,
            }
            changes |= odd.get(f"f{fret}", {})
            notes.append(
                note_at(string, fret, id=1 + fret + 23 * n, direction=direction, **changes)
            )
    return notes


def test_every_fret_of_every_string_has_a_position(note_at: Maker) -> None:
    positions = judge_positions(Guitar(), run(note_at), bars=Bars(), offset_cents=0.0)
    assert [(p.string, p.fret) for p in positions] == [
        (s, f) for s in range(1, 7) for f in range(23)
    ]
    assert {p.reason for p in positions if p.string != 3} == {"not played"}


def test_with_a_capo_positions_begin_at_it(note_at: Maker) -> None:
    guitar = Guitar(capo=2)
    positions = judge_positions(guitar, run(note_at), bars=Bars(), offset_cents=0.0)
    assert min(p.fret for p in positions) == 2


def test_a_clean_note_is_clean_rings_and_is_in_tune(note_at: Maker) -> None:
    position = judged(run(note_at), (3, 5))
    assert (position.buzz, position.sustain, position.pitch) == ("clean", "rings", "in tune")
    assert position.reason == ""
    assert position.notes == (6, 29)
    assert position.decay_ratio == pytest.approx(1.0)


@pytest.mark.parametrize(("level_db", "word"), [(-20.0, "buzz"), (-45.0, "slight")])
def test_contact_is_graded_by_the_bar(note_at: Maker, level_db: float, word: str) -> None:
    notes = run(note_at, f7={"contact": 0.95, "buzz_db": level_db})
    assert judged(notes, (3, 7)).buzz == word


def test_the_bar_moves_the_word(note_at: Maker) -> None:
    notes = run(note_at, f7={"contact": 0.95, "buzz_db": -30.0})
    assert judged(notes, (3, 7), bars=Bars(buzz_db=-25.0)).buzz == "slight"


def test_through_an_amp_the_amp_level_counts(note_at: Maker) -> None:
    notes = run(note_at, f7={"contact": 0.95, "buzz_db": -20.0, "buzz_amp_db": -50.0})
    assert judged(notes, (3, 7)).buzz == "buzz"
    assert judged(notes, (3, 7), bars=Bars(heard="amp")).buzz == "slight"


@pytest.mark.parametrize("frets_ahead", [1, 2])
def test_a_higher_frets_pitch_is_a_choke(note_at: Maker, frets_ahead: int) -> None:
    notes = run(note_at, f7={"cents": 100.0 * frets_ahead - 6.0, "contact": 0.2})
    assert judged(notes, (3, 7)).buzz == "choked"


def test_a_bend_between_two_frets_is_no_choke(note_at: Maker) -> None:
    notes = run(note_at, f7={"cents": 150.0})
    assert judged(notes, (3, 7)).buzz == "clean"


def test_a_struck_note_that_dies_at_once_is_choked(note_at: Maker) -> None:
    dying = {"contact": 0.95, "buzz_db": -20.0, "whole_decay_db_per_s": 150.0}
    assert judged(run(note_at, f7=dying), (3, 7)).buzz == "choked"
    assert judged(run(note_at, f7=dying | {"contact": 0.1}), (3, 7)).buzz == "clean"


@pytest.mark.parametrize(("ratio", "word"), [(1.2, "rings"), (1.7, "short"), (2.6, "dead")])
def test_sustain_is_against_the_strings_own_trend(note_at: Maker, ratio: float, word: str) -> None:
    fast = {"decay_db_per_s": ratio * FALL, "decay_low_db_per_s": 0.95 * ratio * FALL}
    position = judged(run(note_at, f9=fast), (3, 9))
    assert position.sustain == word
    # the trend is robust: one note of 23 moves it by less than 3 %
    assert position.decay_ratio == pytest.approx(ratio, rel=0.03)


def test_an_uncertain_fall_is_not_called_dead(note_at: Maker) -> None:
    vague = {"decay_db_per_s": 2.6 * FALL, "decay_low_db_per_s": 0.9 * FALL}
    assert judged(run(note_at, f9=vague), (3, 9)).sustain == "rings"


FAST = {"decay_db_per_s": 4.0 * FALL, "decay_low_db_per_s": 3.6 * FALL}


def test_a_fall_that_is_fast_in_one_pass_alone_is_none(note_at: Maker) -> None:
    notes = [
        dataclasses.replace(n, **FAST) if (n.note.fret, n.note.direction) == (7, "down") else n
        for n in run(note_at)
    ]
    position = judged(notes, (3, 7))
    assert position.sustain == "rings"
    assert position.reason == "passes disagree: falls at 12 and 48 dB/s"
    assert not position.doubtful, "of how fast it falls, not of contact"
    assert position.decay_ratio == pytest.approx(2.5, rel=0.02)


def test_passes_to_either_side_of_the_bar_do_not_contradict_each_other(note_at: Maker) -> None:
    over = {"decay_db_per_s": 1.55 * FALL, "decay_low_db_per_s": 1.5 * FALL}
    under = {"decay_db_per_s": 1.45 * FALL, "decay_low_db_per_s": 1.4 * FALL}
    notes = [
        dataclasses.replace(n, **(over if n.note.direction == "up" else under))
        if n.note.fret == 7
        else n
        for n in run(note_at)
    ]
    position = judged(notes, (3, 7))
    assert (position.sustain, position.reason) == ("rings", "")


def test_in_a_room_one_pass_alone_tells_no_fast_fall(note_at: Maker) -> None:
    lost = {"decay_db_per_s": None, "decay_low_db_per_s": None}
    notes = run(note_at, f7=FAST)
    notes = [
        dataclasses.replace(n, **lost) if (n.note.fret, n.note.direction) == (7, "up") else n
        for n in notes
    ]
    assert judged(notes, (3, 7)).sustain == "dead"
    position = judged(notes, (3, 7), in_a_room=True)
    assert position.sustain is None
    assert "in a room that takes two" in position.reason
    assert judged(run(note_at, f7=FAST), (3, 7), in_a_room=True).sustain == "dead"
    assert judged(run(note_at), (3, 7), in_a_room=True).sustain == "rings"


@pytest.mark.parametrize(("cents", "word"), [(8.0, "sharp"), (-8.0, "flat"), (4.0, "in tune")])
def test_pitch_is_against_equal_temperament(note_at: Maker, cents: float, word: str) -> None:
    assert judged(run(note_at, f4={"cents": cents}), (3, 4)).pitch == word


def test_the_instruments_own_offset_is_taken_off(note_at: Maker) -> None:
    notes = run(note_at, f4={"cents": -40.0})
    assert judged(notes, (3, 4), offset_cents=-38.0).pitch == "in tune"


def test_only_judged_notes_count(note_at: Maker) -> None:
    notes = [
        note_at(3, 7, id=1, contact=0.05),
        note_at(3, 7, id=2, contact=0.99, buzz_db=-10.0, judged=False, reason="cut short"),
    ]
    position = judged(notes, (3, 7))
    assert position.buzz == "clean"
    assert position.notes == (1, 2)


def test_a_position_without_a_judged_note_says_why(note_at: Maker) -> None:
    position = judged([note_at(3, 7, judged=False, reason="picked too softly")], (3, 7))
    assert position.reason == "picked too softly"
    assert position.buzz is None
    assert position.cents is None


def test_passes_that_contradict_each_other_are_named(note_at: Maker) -> None:
    notes = [note_at(3, 7, id=1, contact=0.93), note_at(3, 7, id=2, contact=0.06)]
    assert judged(notes, (3, 7)).reason == "passes disagree: contact 93 % and 6 %"


def test_two_passes_carry_half_their_difference(note_at: Maker) -> None:
    notes = [
        note_at(3, 7, id=1, cents=1.0, buzz_db=-60.0, decay_db_per_s=10.0),
        note_at(3, 7, id=2, cents=4.0, buzz_db=-50.0, decay_db_per_s=14.0),
    ]
    position = judged(notes, (3, 7))
    assert position.cents_spread == pytest.approx(1.5)
    assert position.buzz_spread_db == pytest.approx(5.0)
    assert position.decay_spread_db_per_s == pytest.approx(2.0)
    assert judged(notes[:1], (3, 7)).cents_spread is None


def test_contact_of_passes_is_that_of_the_surest() -> None:
    assert combined_contact([]) is None
    assert combined_contact([0.9]) == 0.9
    assert combined_contact([0.1, 0.9, 0.2]) == 0.9
    assert combined_contact([0.3, 0.3, 0.3]) == 0.3, "faint ones do not add up"


def test_a_note_that_buzzes_every_other_time_buzzes_as_loud_as_it_does_then(
    note_at: Maker,
) -> None:
    notes = [
        note_at(3, 7, id=1, contact=0.95, buzz_db=-20.0),
        note_at(3, 7, id=2, contact=0.02, buzz_db=-70.0),
    ]
    position = judged(notes, (3, 7))
    assert position.buzz == "buzz"
    assert position.buzz_db == -20.0
    assert position.buzz_spread_db is None, "one pass alone gave a level"
    assert position.reason == "passes disagree: contact 95 % and 2 %"
    assert position.doubtful


def test_a_position_whose_fall_was_not_told_says_why(note_at: Maker) -> None:
    withheld = (("decay_db_per_s", "not heard over the noise"),)
    notes = [note_at(3, 7, id=1, decay_db_per_s=None, withheld=withheld)]
    position = judged(notes, (3, 7))
    assert (position.buzz, position.sustain) == ("clean", None)
    assert position.reason == "not heard over the noise"


def test_a_pass_that_lies_on_the_next_fret_says_nothing_of_the_pitch(note_at: Maker) -> None:
    notes = [
        note_at(3, 7, id=1, contact=0.99, cents=100.0, buzz_db=-10.0),
        note_at(3, 7, id=2, contact=0.02, cents=1.0),
    ]
    position = judged(notes, (3, 7))
    assert (position.cents, position.pitch) == (1.0, "in tune")
    assert position.buzz == "buzz", "it rings free in the other pass"
    assert judged([notes[0]], (3, 7)).buzz == "choked"
    untold = note_at(3, 7, id=2, contact=0.02, cents=None)
    assert judged([notes[0], untold], (3, 7)).buzz == "choked", "no pass has a pitch of its own"


@pytest.mark.parametrize("free", [0.0, 0.25])
def test_a_verdict_that_one_pass_alone_gives_says_so(note_at: Maker, free: float) -> None:
    notes = [note_at(3, 7, id=1, contact=0.55), note_at(3, 7, id=2, contact=free)]
    assert judged(notes, (3, 7)).reason.startswith("passes disagree: contact 55 % and")
