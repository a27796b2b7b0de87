"""Clearances against the closed form and the published fret places."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.neck.clearance import clearances, envelope, fret_places, relief_curve, setup_of

SCALE_MM = 647.7
LEVEL = np.zeros(23)


def level_gaps(nut_mm: float, saddle_mm: float) -> np.ndarray:
    heights = LEVEL.copy()
    heights[0] = nut_mm
    places = fret_places(22, scale_mm=SCALE_MM)
    return clearances(heights, np.asarray(saddle_mm), places_mm=places, scale_mm=SCALE_MM)


@pytest.mark.parametrize(
    ("fret", "place_mm"),
    [(1, 36.35), (5, 162.47), (7, 215.41), (12, 323.85), (17, 405.09), (22, 465.95)],
)
def test_frets_lie_where_equal_temperament_puts_them(fret: int, place_mm: float) -> None:
    # derived from 2^(1/12); a luthier's table gives the same to a hundredth
    assert fret_places(22, scale_mm=SCALE_MM)[fret] == pytest.approx(place_mm, abs=0.01)


def test_each_fret_takes_one_part_in_17_817_of_what_is_left() -> None:
    # 17.817 is the constant of Byers, "Classical guitar intonation"
    places = fret_places(22, scale_mm=SCALE_MM)
    left = SCALE_MM - places
    assert left[:-1] / np.diff(places) == pytest.approx(17.817, abs=0.001)


@pytest.mark.parametrize(("ahead", "gap_mm"), [(1, 0.1515), (2, 0.2946), (3, 0.4296), (12, 1.350)])
def test_clearance_over_level_frets_is_the_closed_form(ahead: int, gap_mm: float) -> None:
    # saddle height over the frets 2·1.6 − 0.5 = 2.7 mm; clearance 2.7·(1 − 2^(−k/12)), derived
    gaps = level_gaps(0.5, 2.7)
    for held in range(1, 22 - ahead + 1):
        assert gaps[held, held + ahead] == pytest.approx(gap_mm, abs=0.0005)


def test_action_is_the_open_string_over_the_twelfth_fret() -> None:
    assert level_gaps(0.5, 2.7)[0, 12] == pytest.approx(1.6)


def test_nothing_behind_the_held_fret_can_be_struck() -> None:
    gaps = level_gaps(0.5, 2.7)
    assert np.isinf(gaps[np.tril_indices(23)]).all()


def test_a_high_fret_costs_every_note_behind_it_and_helps_its_own() -> None:
    places = fret_places(22, scale_mm=SCALE_MM)
    heights = LEVEL.copy()
    heights[9] = 0.1
    high = clearances(heights, np.asarray(2.7), places_mm=places, scale_mm=SCALE_MM)
    level = clearances(LEVEL, np.asarray(2.7), places_mm=places, scale_mm=SCALE_MM)
    assert level[1:9, 9] - high[1:9, 9] == pytest.approx(0.1)
    assert (high[9, 10:] > level[9, 10:]).all()
    assert high[10:][:, 11:] == pytest.approx(level[10:][:, 11:])


def test_a_level_neck_is_struck_from_the_pluck_share_of_the_saddle_height() -> None:
    # away from the board at p = 0.2 over 2.7 mm: first contact above 0.540 mm, derived
    places = fret_places(22, scale_mm=SCALE_MM)
    gaps = level_gaps(0.0, 2.7)
    swing = envelope(places, scale_mm=SCALE_MM, pluck_mm=0.2 * SCALE_MM)
    with np.errstate(divide="ignore"):
        least = (gaps[0, 1:] / swing[0, 1:]).min()
    assert least == pytest.approx(0.540, abs=0.001)


def test_the_envelope_is_as_high_as_the_pluck_and_never_higher() -> None:
    places = fret_places(22, scale_mm=SCALE_MM)
    swing = envelope(places, scale_mm=SCALE_MM, pluck_mm=110.0)
    assert swing.max() <= 1.0
    assert swing[0].max() > 0.9
    assert (swing[np.tril_indices(23)] == 0.0).all()


def test_a_string_pushed_towards_the_neck_comes_no_nearer_than_it_was_let_go() -> None:
    # a straight line from the held fret to the pick, derived: x over the length before it
    places = fret_places(22, scale_mm=SCALE_MM)
    pluck_mm = 110.0
    towards, away = (
        envelope(places, scale_mm=SCALE_MM, pluck_mm=pluck_mm, towards=sense)
        for sense in (True, False)
    )
    for held in (0, 5, 12):
        before = SCALE_MM - pluck_mm - places[held]
        ahead = places[held + 1 :] - places[held]
        assert towards[held, held + 1 :] == pytest.approx(np.minimum(ahead / before, 1.0))
    # next to the held fret that is little beside what was pulled away
    assert (np.diag(towards, 1)[:12] < 0.5 * np.diag(away, 1)[:12]).all()


def test_a_setup_gives_back_action_nut_gap_and_relief() -> None:
    action = (1.75, 1.7, 1.65, 1.6, 1.55, 1.5)
    guitar = Guitar(scale_mm=SCALE_MM, action_12_mm=action, relief_mm=0.25, nut_gap_mm=0.35)
    setup = setup_of(guitar)
    gaps = clearances(
        setup.heights_mm,
        setup.saddle_mm,
        places_mm=setup.places_mm,
        scale_mm=setup.scale_mm,
    )
    assert gaps[:, 0, 12] == pytest.approx(action[::-1])
    assert gaps[:, 0, 1] == pytest.approx(0.35)
    # deepest point of the parabola between frets 1 and 22, sampled at frets: within 1 %
    assert setup.heights_mm[0, 1:].min() == pytest.approx(-0.25, rel=0.01)
    assert setup.in_mm


def test_what_is_not_known_is_not_said_in_mm() -> None:
    assert not setup_of(Guitar()).in_mm
    assert not setup_of(Guitar(relief_mm=0.2)).in_mm
    assert not setup_of(Guitar(action_12_mm=(1.6,) * 6)).in_mm


def test_a_bass_without_a_scale_is_taken_for_long() -> None:
    bass = setup_of(Guitar(tuning=("E1", "A1", "D2", "G2"), frets=20))
    assert bass.scale_mm > setup_of(Guitar()).scale_mm


def test_a_neck_of_few_frets_still_has_a_twelfth_fret_to_measure_at() -> None:
    guitar = Guitar(tuning=("G4", "C4", "E4", "A4"), frets=10, action_12_mm=(2.0,) * 4)
    setup = setup_of(guitar)
    assert setup.heights_mm.shape == (4, 11)
    middle = 0.5 * (setup.heights_mm[:, 0] + setup.saddle_mm)
    assert (middle > 1.5).all()


def test_relief_is_deepest_in_the_middle_and_none_at_the_ends() -> None:
    curve = relief_curve(fret_places(22, scale_mm=SCALE_MM))
    assert curve[0] == 0.0
    assert curve[1] == pytest.approx(0.0)
    assert curve[22] == pytest.approx(0.0)
    assert 6 <= int(curve.argmax()) <= 10


def test_a_neck_too_straight_is_a_cause_to_be_found_not_the_setup() -> None:
    straight, sound, bowed = (
        setup_of(Guitar(scale_mm=SCALE_MM, action_12_mm=(1.6,) * 6, relief_mm=mm))
        for mm in (-0.1, 0.1, 0.3)
    )
    np.testing.assert_array_equal(straight.heights_mm[:, 1:], sound.heights_mm[:, 1:])
    assert (straight.short_relief_mm, sound.short_relief_mm) == pytest.approx((0.2, 0.0))
    assert straight.too_straight
    assert not sound.too_straight
    assert not setup_of(Guitar(relief_mm=0.08)).too_straight
    # the action was measured over the neck as it is: bent back to that, it is what it was
    as_it_is = straight.heights_mm + 0.2 * relief_curve(straight.places_mm)
    gaps = clearances(
        as_it_is,
        straight.saddle_mm,
        places_mm=straight.places_mm,
        scale_mm=straight.scale_mm,
    )
    assert gaps[:, 0, 12] == pytest.approx(1.6)
    assert bowed.heights_mm[:, 7].max() < sound.heights_mm[:, 7].min() - 0.15
