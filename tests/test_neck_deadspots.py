"""Dead spots: every pass, all strings at a pitch, neighbours that ring, and no contact."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.deadspots import DeadSpot, dead_spots
from buzzscan.neck.positions import by_position, judge_positions
from buzzscan.neck.verdict import Bars

Maker = Callable[..., MeasuredNote]
Place = tuple[int, int]
GUITAR = Guitar()
SPOT = (3, 7)
# D4, on every string that has it
SAME_PITCH = ((2, 3), (3, 7), (4, 12), (5, 17), (6, 22))


def spots(
    note_at: Maker,
    ratios: dict[Place, Sequence[float]],
    *,
    whole: bool = True,
    untold: Collection[int] = (),
    passes: int = 2,
    error: float = 0.05,
    room_db: float = 0.02,
    **changes: object,
) -> tuple[DeadSpot, ...]:
    """Return the spots of a neck on which some places fall so many times as fast in each pass.

    `error` is that of each fall over the usual one; falls of the frets `untold` are not told.
    """
    rng = np.random.default_rng(5)
    notes = []
    for string in GUITAR.strings:
        for n in range(passes):
            for fret in range(23):
                ratio = ratios.get((string, fret), (1.0, 1.0))[n]
                usual = 8.0 + 0.5 * fret
                scatter = 0.08 + max(error - 0.05, 0.0)
                fall = usual * (ratio + scatter * rng.normal())
                values: dict[str, object] = {
                    "decay_db_per_s": None if fret in untold else fall,
                    "seen_decay_db_per_s": fall,
                    "seen_decay_error_db_per_s": error * usual,
                    "seen_room_db": room_db,
                    "whole_decay_db_per_s": 1.2 * (fall if whole else usual),
                }
                if (string, fret) == SPOT:
                    values |= changes
                notes.append(note_at(string, fret, id=len(notes) + 1, **values))
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    return dead_spots(GUITAR, positions, by_position(notes), bars=Bars())


def test_an_even_neck_has_none(note_at: Maker) -> None:
    assert spots(note_at, {}) == ()


@pytest.mark.parametrize("ratio", [2.4, 3.0])
def test_a_note_that_falls_fast_in_both_passes_is_one(note_at: Maker, ratio: float) -> None:
    found = spots(note_at, {SPOT: (ratio, ratio)})
    assert [(s.string, s.fret, s.frets) for s in found] == [(3, 7, (7,))]
    # 8 % scatter per pluck, two plucks, and the trend's own error
    assert found[0].ratio == pytest.approx(ratio, rel=0.15)
    # D4 on the third string's seventh fret, A4 = 440 Hz
    assert found[0].pitch_hz == pytest.approx(293.66, abs=0.01)


def test_one_pass_alone_is_not_enough_where_there_are_two(note_at: Maker) -> None:
    assert spots(note_at, {SPOT: (2.6, 1.0)}) == ()


def test_another_string_at_its_pitch_stands_in_for_a_pass(note_at: Maker) -> None:
    alone, follower = {SPOT: (2.0, 2.0)}, {(2, 3): (2.0, 2.0)}
    single = spots(note_at, alone, passes=1)
    found = spots(note_at, alone | follower, passes=1)
    assert {p for s in found for p in s.places} == {SPOT, (2, 3)}
    assert found[0].confidence > max([s.confidence for s in single], default=0.5)


def test_notes_too_uncertain_to_be_told_tell_it_together(note_at: Maker) -> None:
    # each ±60 %: alone it says nothing, on five strings it says what they have in common
    loose = {"untold": range(23), "error": 0.3}
    assert spots(note_at, {SPOT: (2.2, 2.2)}, **loose) == ()  # type: ignore[arg-type]
    found = spots(note_at, dict.fromkeys(SAME_PITCH, (2.2, 2.2)), **loose)  # type: ignore[arg-type]
    assert len(found) == 1
    assert {p for p in SAME_PITCH if p in found[0].places} >= {(2, 3), SPOT, (4, 12)}


@pytest.mark.parametrize(("room_db", "told"), [(0.02, True), (0.4, False)])
def test_in_a_room_uncertain_notes_of_one_pitch_are_as_uncertain_together(
    note_at: Maker, *, room_db: float, told: bool
) -> None:
    # what a wave of the room does at a pitch, it does on all strings
    shared = dict.fromkeys(SAME_PITCH, (2.2, 2.2))
    assert bool(spots(note_at, shared, error=0.3, room_db=room_db)) == told


def test_neighbours_may_be_too_uncertain_to_be_told(note_at: Maker) -> None:
    beside = {3, 4, 5, 6, 8, 9, 10, 11}
    assert len(spots(note_at, {SPOT: (3.0, 3.0)}, untold=beside)) == 1


def test_a_stretch_that_falls_fast_altogether_is_none(note_at: Maker) -> None:
    stretch = {(3, fret): (2.2, 2.2) for fret in range(3, 12)}
    found = spots(note_at, stretch | {(1, 8): (3.0, 3.0)})
    assert {s.string for s in found} == {1}


def test_a_note_that_strikes_a_fret_is_none(note_at: Maker) -> None:
    assert spots(note_at, {SPOT: (2.6, 2.6)}, contact=0.9) == ()


def test_its_width_and_the_other_strings_at_its_pitch_are_told(note_at: Maker) -> None:
    fast = {SPOT: (2.6, 2.6), (3, 8): (1.6, 1.6), (2, 3): (1.7, 1.7)}
    found = next(s for s in spots(note_at, fast) if s.string == 3)
    assert found.frets == (7, 8)
    assert (2, 3) in found.followers
    assert (4, 12) in found.silent


def test_one_resonance_on_several_strings_is_one(note_at: Maker) -> None:
    # D4 on the third, the second and the fourth string; C5 on the first has nothing to do with it
    same = {SPOT: (2.9, 2.9), (2, 3): (2.4, 2.4), (4, 12): (2.6, 2.6)}
    found = spots(note_at, same | {(1, 8): (2.5, 2.5)})
    assert [(s.string, s.fret) for s in found] == [(3, 7), (1, 8)]
    assert set(found[0].places) == set(same)
    assert set(found[0].followers) == {(2, 3), (4, 12)}
    assert found[0].silent == ((5, 17), (6, 22))


def test_its_deepest_fret_is_named_though_the_next_one_is_surer(note_at: Maker) -> None:
    # the deepest differs by a fret between strings; the resonance is one
    fast = {SPOT: (3.4, 3.4), (2, 2): (2.2, 2.2), (4, 11): (2.2, 2.2), (5, 16): (2.2, 2.2)}
    (found,) = spots(note_at, fast)
    assert (found.string, found.fret) == SPOT
    # and none of what makes it sure is left out, or said to ring
    assert set(found.places) >= set(fast)
    assert set(found.followers) == {(2, 2), (4, 11), (5, 16)}
    assert {string for string, _ in found.silent} <= {6}
    assert found.confidence > 0.95


def test_a_note_short_of_the_bar_is_neither_dead_nor_ringing(note_at: Maker) -> None:
    (found,) = spots(note_at, {SPOT: (3.0, 3.0), (2, 3): (1.38, 1.38)})
    assert found.places == (SPOT,)
    assert (2, 3) not in {*found.followers, *found.silent}


def test_a_partial_that_dies_alone_in_a_room_is_none(note_at: Maker) -> None:
    # a room's own wave takes the first partial, and nobody hears the note die
    wet = {"room_db": 0.4, "error": 0.05}
    assert spots(note_at, {SPOT: (2.0, 2.0)}, whole=False, **wet) == ()  # type: ignore[arg-type]
    assert spots(note_at, {SPOT: (3.0, 3.0)}, whole=True, **wet) != ()  # type: ignore[arg-type]


def test_neighbours_on_one_string_are_not_its_followers(note_at: Maker) -> None:
    found = spots(note_at, {SPOT: (2.6, 2.6), (3, 12): (2.6, 2.6)})
    assert sorted(s.places for s in found) == [((3, 7),), ((3, 12),)]


def test_the_users_bar_holds(note_at: Maker) -> None:
    assert spots(note_at, dict.fromkeys(SAME_PITCH, (1.4, 1.4))) == ()
