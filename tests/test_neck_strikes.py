"""Likelihood of contact: thresholds by geometry, strengths and circumstances summed over."""

from __future__ import annotations

import numpy as np
import pytest
from evidence_by_hand import FloatArray, evidence

from buzzscan.guitar import Guitar
from buzzscan.neck.clearance import setup_of
from buzzscan.neck.strikes import StrikeModel, log_sum, strike_model
from buzzscan.neck.thresholds import SENSES

SETUP = setup_of(Guitar(scale_mm=647.7, action_12_mm=(1.6,) * 6, relief_mm=0.1, nut_gap_mm=0.4))


def model_of(
    contact: FloatArray, *, touched: FloatArray | float = 0.0, harder: FloatArray | float = 0.0
) -> StrikeModel:
    return strike_model(SETUP, evidence(contact, touched=touched, harder=harder), lowest=0)


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
    strike = model.thresholds(SETUP.profile_mm).strike
    shapes = strike.shape[0] * strike.shape[1]
    assert n == model.log_circumstances.size == model.strength_prior.shape[1] * shapes


def test_a_high_fret_lowers_thresholds_behind_it_most_for_the_nearest() -> None:
    model = model_of(CLEAN)
    both = model.thresholds(SETUP.profile_mm), model.thresholds(with_high_fret(9, 0.1))
    # what else lies ahead is met first from further back
    for level, high, behind in zip(*both, (8, 6), strict=True):
        # the last fret has none ahead of it
        assert np.isposinf(level[..., -1]).all()
        fall = level[..., :-1] - high[..., :-1]
        near = fall[..., behind - 2 : 9]
        assert (np.diff(near, axis=-1) >= -1e-12).all()
        assert (near[..., -1] > 0.5).all()
        # held itself, and behind those above it, a fret that is high costs nothing
        assert (fall[..., 9:] <= 1e-12).all()
        # one more fret that is met takes a little of what goes on striking
        assert (np.delete(fall, 9, axis=-1) > -0.1).all()


def test_a_string_that_meets_many_frets_at_once_goes_on_striking_less() -> None:
    model = model_of(CLEAN)
    # on a level neck all frets ahead are met about as soon, behind a high one that alone
    level, alone = (
        t.strike[..., 8] - t.touch[..., 8]
        for t in map(model.thresholds, (SETUP.profile_mm, with_high_fret(9, 0.1)))
    )
    assert (level >= alone).all()
    assert (level > alone + 0.1).mean() > 0.8


def test_a_string_that_rests_deeper_does_not_strike_the_sooner() -> None:
    model = model_of(CLEAN)
    for kind in range(2):
        resting = [model.thresholds(with_high_fret(9, size))[kind][..., 8] for size in (0.3, 0.6)]
        assert resting[0] == pytest.approx(resting[1])


def test_strikes_speak_for_what_lowers_their_threshold() -> None:
    contact = CLEAN.copy()
    contact[:, 8] = 0.97
    model = model_of(contact)
    assert total(model, with_high_fret(9, 0.12)) > total(model, SETUP.profile_mm) + 3.0
    assert total(model, with_high_fret(15, 0.12)) < total(model, SETUP.profile_mm)


def test_the_plainer_the_strikes_the_higher_the_fret() -> None:
    def for_much(plain: float, frets: slice = slice(8, 9)) -> float:
        contact = CLEAN.copy()
        contact[:, frets] = 0.97
        model = strike_model(SETUP, evidence(contact, plain=plain), lowest=0)
        much, little = (total(model, with_high_fret(9, size)) for size in (0.14, 0.07))
        return much - little

    faint, unknown, plain = (for_much(p) for p in (0.2, 0.5, 0.8))
    assert faint < unknown - 0.5
    assert plain > unknown + 0.5
    # on many places it is the guitar's or the recording's: it says no more than on a few
    few, many = ((for_much(0.8, f) - for_much(0.5, f)) for f in (slice(7, 9), slice(1, 9)))
    assert many < 1.5 * few


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
    strike, touch = model_of(CLEAN).thresholds(with_high_fret(9, 0.1))
    assert (touch <= strike).all()


def test_strikes_last_the_longer_the_nearer_to_the_middle_a_string_is_picked() -> None:
    strike, touch = (t[..., 1:-1] for t in model_of(CLEAN).thresholds(SETUP.profile_mm))
    # places of a pluck away from the neck, from beside the bridge on, by how long strikes last
    lead = strike - touch
    assert lead.shape[1] == 3
    lead = lead[: len(SENSES[0].shares)]
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
    assert lead[0] > 1.0
    # without one, the pick may have pushed the strings towards the neck: that is no low fret yet
    assert lead[1] < lead[0] - 1.0


def test_no_place_can_rule_heights_out() -> None:
    # as sure as can be of a strike where the neck is free, in both looks, at every strength
    contact = np.full((2, *CLEAN.shape), np.nan)
    contact[:, 0, 8] = 0.999999
    likely = model_of(contact, touched=-20.0).log_likelihood(SETUP.profile_mm)
    assert likely.min() == pytest.approx(np.log(2e-3))


def test_no_likelihood_is_below_nothing() -> None:
    # where what touches goes on striking at once, strikes scatter more than touches
    contact = np.stack([CLEAN, CLEAN])
    touched = np.full(contact.shape, -3.0)
    touched[:, :, 20] = 3.4
    far = with_high_fret(21, 0.3)
    both = model_of(contact, touched=touched)
    for look in both.looks:
        strike, touch = (np.zeros((1, 1, 6), np.intp) for _ in range(2))
        for steps in range(-60, 61):
            assert (look.at(20, strike + steps, touch + steps) >= 0.0).all()
    one = model_of(contact[:1], touched=touched[:1])
    # two looks that say the same say it twice, and no more
    assert total(both, far) <= 0.0
    assert total(one, far) <= 0.0


def test_harder_picks_strike_sooner() -> None:
    level = SETUP.profile_mm
    strikes = []
    for harder in (-0.3, 0.0, 0.3):
        model = model_of(np.full(CLEAN.shape, np.nan), harder=harder)
        strikes.append(model.striking(level, given=level)[:, 8].mean())
    assert strikes[0] < strikes[1] < strikes[2]


def test_a_note_that_is_free_though_picked_hard_speaks_against_a_high_fret() -> None:
    high = with_high_fret(9, 0.12)
    odds = []
    for harder in (-0.3, 0.0, 0.3):
        picked = np.zeros(CLEAN.shape)
        picked[:, 8] = harder
        model = model_of(CLEAN, touched=np.full(CLEAN.shape, -3.0), harder=picked)
        odds.append(total(model, high) - total(model, SETUP.profile_mm))
    assert odds[0] > odds[1] + 1.0 > odds[2] + 2.0


def test_passes_that_differ_as_their_picks_do_agree() -> None:
    # one pass touches and one does not: a fret in between, if the first was the harder
    touched = np.full((2, *CLEAN.shape), -3.0)
    touched[0, :, 8] = 3.0
    contact = np.stack([CLEAN, CLEAN])
    harder = np.zeros_like(contact)
    slightly = with_high_fret(9, 0.06)
    odds = []
    for by in (0.3, -0.3):
        harder[0, :, 8], harder[1, :, 8] = by, -by
        model = model_of(contact, touched=touched, harder=harder)
        odds.append(total(model, slightly))
    assert odds[0] > odds[1] + 2.0
