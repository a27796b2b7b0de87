"""Odds of a resonance: what adds up, what does not, and what a whole note says."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from buzzscan.neck.falls import PlaceFalls
from buzzscan.neck.resonance import resonance_log_odds, scatter_of_wholes

DRY_DB, ROOM_DB = 0.02, 0.4


def place(
    *ratios: float, error: float = 0.1, seen_s: float = 0.3, wholes: Sequence[float] = ()
) -> PlaceFalls:
    return PlaceFalls(
        ratios=np.array(ratios),
        errors=np.full(len(ratios), error),
        seen_s=np.full(len(ratios), seen_s),
        usual_db_per_s=10.0,
        scatter=0.1,
        log_wholes=np.log(np.array(wholes)),
    )


def odds(*places: PlaceFalls, room_db: float = DRY_DB) -> float:
    return resonance_log_odds(places, room_db=room_db, whole_scatter=0.1)


def test_notes_that_ring_are_no_resonance() -> None:
    assert odds(place(1.0, 1.05), place(0.95, 1.0)) < -5.0


def test_strings_add_up_on_a_dry_take() -> None:
    loose = [place(1.9, error=0.35)] * 4
    assert odds(loose[0]) < odds(*loose[:2]) < 0.0 < odds(*loose)


def test_strings_add_up_to_no_more_than_one_in_a_room() -> None:
    loose = [place(1.9, error=0.35, seen_s=0.2)] * 4
    assert odds(*loose, room_db=ROOM_DB) < 0.0


def test_a_room_fades_while_a_long_note_rings() -> None:
    short, long = ([place(2.5, 2.5, error=0.35, seen_s=s)] * 3 for s in (0.15, 0.8))
    assert odds(*short, room_db=ROOM_DB) < odds(*long, room_db=ROOM_DB)


def test_a_pass_that_rings_speaks_against_it() -> None:
    assert odds(place(2.6, 1.0)) < 0.0 < odds(place(2.6, 2.6))


def test_one_fret_that_differs_by_a_third_has_its_own_reasons() -> None:
    # however exactly it is known: a neck has many such
    assert odds(place(1.35, 1.35, error=0.01)) < 0.0


def test_whole_notes_that_die_or_ring_count() -> None:
    alone = odds(place(2.0, 2.0))
    dies = odds(place(2.0, 2.0, wholes=(1.8, 1.8)))
    rings = odds(place(2.0, 2.0, wholes=(1.0, 1.0)))
    assert rings < alone < dies


def test_the_scatter_of_wholes_is_robust() -> None:
    ratios = np.exp(np.random.default_rng(1).normal(0.0, 0.2, 400))
    ratios[:40] = 5.0
    # a tenth of outliers widens the median absolute deviation by about a seventh
    assert scatter_of_wholes([place(1.0, wholes=tuple(ratios))]) == pytest.approx(0.2, rel=0.3)
    assert scatter_of_wholes([]) == 0.0


@pytest.mark.parametrize("room_db", [DRY_DB, ROOM_DB])
def test_deeper_is_no_less_a_dead_spot(room_db: float) -> None:
    deep = [
        odds(place(r, 1.05 * r, wholes=(0.9 * r, 0.9 * r)), room_db=room_db)
        for r in (2.5, 3.0, 4.0, 6.0, 12.0, 50.0)
    ]
    # a hundredth for the grid
    assert np.all(np.diff(deep) >= -0.01)


@pytest.mark.parametrize("ratios", [(50.0, 52.0), (70.0,), (-60.0,), (2.0, -60.0), (0.9,) * 400])
@pytest.mark.parametrize("room_db", [DRY_DB, ROOM_DB])
def test_falls_that_no_model_expects_are_weighed_all_the_same(
    *, ratios: tuple[float, ...], room_db: float
) -> None:
    assert np.isfinite(odds(*[place(*ratios, error=0.02)] * 6, room_db=room_db))
