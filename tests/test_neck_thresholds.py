"""Thresholds of touches and strikes, for plucks away from the neck and towards it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.guitar import Guitar
from buzzscan.neck.clearance import setup_of
from buzzscan.neck.thresholds import SENSES, laws_on, middle_touches, thresholds

FloatArray = npt.NDArray[np.float64]

SETUP = setup_of(Guitar(scale_mm=647.7, action_12_mm=(1.6,) * 6, relief_mm=0.1, nut_gap_mm=0.4))
TOWARDS = np.repeat([s.towards for s in SENSES], [len(s.shares) for s in SENSES])
HIGH = 9


def over_hand(size_mm: float) -> FloatArray:
    """Return thresholds of a touch behind a high fret, in a hand's strength, (plucks, frets)."""
    high = SETUP.profile_mm.copy()
    high[:, HIGH] += size_mm
    laws = laws_on(SETUP)
    middle = middle_touches(SETUP, laws, lowest=0)
    return np.asarray((thresholds(SETUP, laws, high).touch - middle[..., None])[:, 0].mean(axis=1))


def test_plucks_of_both_senses_are_all_there_are() -> None:
    assert {sense.towards for sense in SENSES} == {True, False}
    assert all(len(sense.odds) == len(sense.shares) for sense in SENSES)
    assert sum(odds for sense in SENSES for odds in sense.odds) == pytest.approx(1.0)


def test_thresholds_have_a_row_per_place_of_either_sense() -> None:
    strike, touch = thresholds(SETUP, laws_on(SETUP), SETUP.profile_mm)
    assert strike.shape == (TOWARDS.size, 3, 6, 23)
    assert touch.shape == (TOWARDS.size, 1, 6, 23)
    assert (touch <= strike).all()


def test_pushed_towards_the_neck_a_high_fret_is_met_from_the_one_before_it_alone() -> None:
    needed = over_hand(0.12)
    away, towards = needed[~TOWARDS], needed[TOWARDS]
    # any hand meets it there, whichever way it pulls
    assert (needed[:, HIGH - 1] < -1.0).all()
    # from further behind it takes a harder one
    for fret in (HIGH - 2, HIGH - 3, HIGH - 4):
        assert towards[:, fret].min() > away[:, fret].max() + 0.3


def test_strength_is_that_of_the_hand_whichever_way_it_pulls() -> None:
    middle = middle_touches(SETUP, laws_on(SETUP), lowest=0)
    own = np.median(thresholds(SETUP, laws_on(SETUP), SETUP.profile_mm).touch[..., :-1], axis=-1)
    assert middle[~TOWARDS] == pytest.approx(own[~TOWARDS])
    # the lower half of a level neck is touched later by the same hand that pushes
    low = thresholds(SETUP, laws_on(SETUP), SETUP.profile_mm).touch[..., :11]
    assert (low[TOWARDS] > middle[TOWARDS][..., None]).all()
    # and the hand is the same on all strings, up to how much farther it pulls
    farther = middle[TOWARDS] - middle[~TOWARDS][1]
    assert np.ptp(farther) == pytest.approx(0.0, abs=1e-9)
