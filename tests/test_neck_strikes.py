"""Likelihood of contact: thresholds by geometry, strengths and circumstances summed over."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.guitar import Guitar
from buzzscan.neck.clearance import setup_of
from buzzscan.neck.evidence import Evidence
from buzzscan.neck.strikes import StrikeModel, log_sum, strike_model

SETUP = setup_of(Guitar(scale_mm=647.7, action_12_mm=(1.6,) * 6, relief_mm=0.1, nut_gap_mm=0.4))
FloatArray = npt.NDArray[np.float64]


def evidence(contact: FloatArray, *, touched: FloatArray | float = 0.0) -> Evidence:
    return Evidence(
        contact=contact,
        struck=np.nan_to_num(contact) > 0.5,
        choked=np.zeros(contact.shape, np.bool_),
        touched=np.broadcast_to(touched, contact.shape),
    )


def model_of(contact: FloatArray, *, touched: FloatArray | float = 0.0) -> StrikeModel:
    return strike_model(SETUP, evidence(contact, touched=touched), lowest=0)


CLEAN = np.full(SETUP.heights_mm.shape, 0.003)


def with_high_fret(fret: int, size_mm: float) -> FloatArray:
    profile = SETUP.profile_mm.copy()
    profile[:, fret] += size_mm
    return profile


def total(model: StrikeModel, profile: FloatArray) -> float:
    return float(model.over_circumstances(model.log_evidence(profile).sum(axis=1)))


def test_log_sum_is_the_log_of_the_sum() -> None:
    values = np.log(np.array([[1.0, 2.0], [3.0, 4.0]]))
    assert np.exp(log_sum(values)) == pytest.approx([4.0, 6.0])
    assert float(log_sum(np.array([-2000.0, -2000.0]))) == pytest.approx(-2000.0 + np.log(2.0))


def test_priors_of_strengths_and_circumstances_sum_to_one() -> None:
    model = model_of(CLEAN)
    assert np.exp(model.log_circumstances).sum() == pytest.approx(1.0)
    assert model.strength_prior.sum(axis=0) == pytest.approx(1.0)
    n = model.log_evidence(SETUP.profile_mm).shape[0]
    assert n == model.log_circumstances.size == model.strength_prior.shape[1] * len(model.middle)


def test_a_high_fret_lowers_thresholds_behind_it_most_for_the_nearest() -> None:
    model = model_of(CLEAN)
    level, high = model.thresholds(SETUP.profile_mm), model.thresholds(with_high_fret(9, 0.1))
    # the last fret has none ahead of it
    assert np.isposinf(level[..., -1]).all()
    fall = level[..., :-1] - high[..., :-1]
    # what else lies ahead is met first from further back
    for kind, behind in ((0, 7), (1, 6)):
        near = fall[kind][..., behind - 2 : 9]
        assert (np.diff(near, axis=-1) >= -1e-12).all()
        assert (near[..., -1] > 0.5).all()
    # held itself, and behind those above it, a fret that is high costs nothing
    assert (fall[..., 9:] <= 1e-12).all()


def test_a_string_that_rests_deeper_does_not_strike_the_sooner() -> None:
    model = model_of(CLEAN)
    resting = [model.thresholds(with_high_fret(9, size))[..., 8] for size in (0.3, 0.6)]
    assert resting[0] == pytest.approx(resting[1])


def test_strikes_speak_for_what_lowers_their_threshold() -> None:
    contact = CLEAN.copy()
    contact[:, 8] = 0.97
    model = model_of(contact)
    assert total(model, with_high_fret(9, 0.12)) > total(model, SETUP.profile_mm) + 3.0
    assert total(model, with_high_fret(15, 0.12)) < total(model, SETUP.profile_mm)


def test_a_place_that_was_not_heard_says_nothing() -> None:
    nothing = model_of(np.full(CLEAN.shape, np.nan))
    for profile in (SETUP.profile_mm, with_high_fret(9, 0.2)):
        assert total(nothing, profile) == pytest.approx(0.0, abs=1e-9)


def test_a_touch_shared_by_the_strings_is_learnt_from_all_of_them() -> None:
    hard = CLEAN.copy()
    hard[:5, 1:20] = 0.9
    hard[5] = np.nan
    soft = CLEAN.copy()
    soft[5] = np.nan
    level = SETUP.profile_mm
    expected = [
        model_of(contact).striking(level, given=level)[5].mean() for contact in (hard, soft)
    ]
    assert expected[0] > 2.0 * expected[1]


def test_what_goes_on_striking_has_touched() -> None:
    strike, touch = model_of(CLEAN).thresholds(with_high_fret(9, 0.1))[..., :-1]
    assert (touch <= strike).all()


def test_strikes_last_the_longer_the_nearer_to_the_middle_a_string_is_picked() -> None:
    strike, touch = model_of(CLEAN).thresholds(SETUP.profile_mm)[..., 1:-1]
    # three places of the pluck, from beside the bridge on, by three of how long strikes last
    lead = (strike - touch).reshape(3, 3, *strike.shape[1:])
    assert (np.diff(lead, axis=0) <= 0.0).all()
    assert (np.diff(lead, axis=1) <= 0.0).all()
    # up the neck the same pluck is nearer to the middle
    assert (lead[..., -1] < lead[..., 0]).all()


def test_a_touch_behind_it_tells_a_high_fret_from_a_low_one_before_it() -> None:
    contact = CLEAN.copy()
    contact[:, 8] = 0.97
    low = SETUP.profile_mm.copy()
    low[:, 8] -= 0.12
    high = with_high_fret(9, 0.12)
    lead = []
    for odds in (3.0, -3.0):
        touched = np.full(CLEAN.shape, -3.0)
        touched[:, 7] = odds
        touched[:, 8] = 3.0
        model = model_of(contact, touched=touched)
        lead.append(total(model, high) - total(model, low))
    assert lead[0] > 2.0
    assert lead[1] < lead[0] - 4.0


def test_no_place_can_rule_heights_out() -> None:
    contact = np.full(CLEAN.shape, np.nan)
    contact[0, 8] = 0.999999
    model = model_of(contact)
    assert total(model, SETUP.profile_mm) >= float(np.log(5e-4))
