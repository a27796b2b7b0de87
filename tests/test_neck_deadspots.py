"""Dead spots: both passes, the whole note, neighbours that ring, and no contact."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.deadspots import DeadSpot, dead_spots
from buzzscan.neck.positions import by_position, decay_trends, judge_positions
from buzzscan.neck.verdict import Bars

Maker = Callable[..., MeasuredNote]
GUITAR = Guitar()
SPOT = (3, 7)


def spots(
    note_at: Maker,
    ratios: dict[tuple[int, int], Sequence[float]],
    *,
    whole: bool = True,
    untold: Collection[int] = (),
    passes: int = 2,
    withhold_second: bool = False,
    **changes: object,
) -> tuple[DeadSpot, ...]:
    rng = np.random.default_rng(5)
    notes = []
    for string in GUITAR.strings:
        for n in range(passes):
            for fret in range(23):
                ratio = ratios.get((string, fret), (1.0, 1.0))[n]
                fall = (8.0 + 0.5 * fret) * float(np.exp(rng.normal(0.0, 0.08))) * ratio
                values: dict[str, object] = {
                    "decay_db_per_s": fall,
                    "decay_low_db_per_s": 0.9 * fall,
                    "decay_high_db_per_s": 1.1 * fall,
                    "whole_decay_db_per_s": 1.2 * fall / (1.0 if whole else ratio),
                }
                if string == SPOT[0] and fret in untold:
                    values |= {"decay_db_per_s": None, "decay_low_db_per_s": None}
                if (string, fret) == SPOT:
                    values |= changes
                    if withhold_second and n == 1:
                        values |= {"decay_db_per_s": None, "decay_low_db_per_s": None}
                notes.append(note_at(string, fret, id=len(notes) + 1, **values))
    places = by_position(notes)
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    return dead_spots(GUITAR, positions, places, decay_trends(GUITAR, places), bars=Bars())


def test_an_even_neck_has_none(note_at: Maker) -> None:
    assert spots(note_at, {}) == ()


@pytest.mark.parametrize("ratio", [2.0, 3.0])
def test_a_note_that_falls_fast_in_both_passes_is_one(note_at: Maker, ratio: float) -> None:
    found = spots(note_at, {SPOT: (ratio, ratio)})
    assert [(s.string, s.fret, s.frets) for s in found] == [(3, 7, (7,))]
    # 8 % scatter per pluck, two plucks, and the trend's own error
    assert found[0].ratio == pytest.approx(ratio, rel=0.15)
    # D4 on the third string's seventh fret, A4 = 440 Hz
    assert found[0].pitch_hz == pytest.approx(293.66, abs=0.01)


def test_one_pass_alone_is_not_enough_where_there_are_two(note_at: Maker) -> None:
    assert spots(note_at, {SPOT: (2.6, 1.0)}) == ()


def test_a_pass_that_could_not_be_measured_does_not_agree(note_at: Maker) -> None:
    # decay is withheld where beats hide it, and the pass beside it may be led astray by the same
    assert spots(note_at, {SPOT: (4.0, 4.0)}, withhold_second=True) == ()


def test_a_single_pass_is_less_sure(note_at: Maker) -> None:
    both = spots(note_at, {SPOT: (3.5, 3.5)})[0]
    single = spots(note_at, {SPOT: (3.5, 3.5)}, passes=1)[0]
    assert single.confidence < both.confidence


def test_another_string_at_its_pitch_stands_in_for_a_pass(note_at: Maker) -> None:
    alone, follower = {SPOT: (2.35, 2.35)}, {(2, 3): (2.35, 2.35)}
    assert spots(note_at, alone, passes=1) == ()
    found = spots(note_at, alone | follower, passes=1)
    assert {p for s in found for p in s.places} == {SPOT, (2, 3)}


def test_a_first_partial_that_the_room_takes_is_none(note_at: Maker) -> None:
    assert spots(note_at, {SPOT: (1.8, 1.8)}, whole=False) == ()


@pytest.mark.parametrize(("whole", "found"), [(True, 1), (False, 0)])
def test_neighbours_may_ring_as_a_whole_where_their_first_partials_are_not_told(
    note_at: Maker, *, whole: bool, found: int
) -> None:
    beside = {3, 4, 5, 6, 8, 9, 10, 11}
    assert len(spots(note_at, {SPOT: (3.0, 3.0)}, whole=whole, untold=beside)) == found


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


def test_neighbours_on_one_string_are_not_its_followers(note_at: Maker) -> None:
    found = spots(note_at, {SPOT: (2.6, 2.6), (3, 12): (2.6, 2.6)})
    assert sorted(s.places for s in found) == [((3, 7),), ((3, 12),)]
