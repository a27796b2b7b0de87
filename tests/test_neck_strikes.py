"""Likelihood of contact: thresholds by geometry, strengths and circumstances summed over."""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.guitar import Guitar
from buzzscan.neck.clearance import setup_of
from buzzscan.neck.evidence import Evidence
from buzzscan.neck.strikes import StrikeModel, log_sum, strike_model

SETUP = setup_of(Guitar(scale_mm=647.7, action_12_mm=(1.6,) * 6, relief_mm=0.1, nut_gap_mm=0.4))
FloatArray = npt.NDArray[np.float64]


def evidence(contact: FloatArray, *, level_db: float = np.nan) -> Evidence:
    return Evidence(
        contact=contact,
        struck=np.nan_to_num(contact) > 0.5,
        level_db=np.where(np.nan_to_num(contact) > 0.5, level_db, np.nan),
        choked=np.zeros(contact.shape, np.bool_),
        touched=np.zeros(contact.shape),
    )


def model_of(contact: FloatArray, **options: float) -> StrikeModel:
    return strike_model(SETUP, evidence(contact, **options), lowest=0)


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
    near = fall[:, :, 4:9]
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


def test_a_loud_strike_speaks_for_a_higher_fret() -> None:
    contact = CLEAN.copy()
    contact[:, 8] = 0.97
    contact[:, 15] = 0.97
    levels = np.where(np.arange(23) == 8, -12.0, -30.0)
    both = evidence(contact)
    told = dataclasses.replace(
        both, level_db=np.where(contact > 0.5, np.broadcast_to(levels, contact.shape), np.nan)
    )

    def lead(heard: Evidence) -> float:
        model = strike_model(SETUP, heard, lowest=0)
        return total(model, with_high_fret(9, 0.14)) - total(model, with_high_fret(9, 0.07))

    assert lead(told) > lead(both)
