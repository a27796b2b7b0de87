"""Causes as changes of heights: where each bends the neck, and how common it is held to be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.neck.causes import Cause, causes_of, straight_odds
from buzzscan.neck.clearance import clearances, setup_of

GUITAR = Guitar(scale_mm=647.7, action_12_mm=(1.6,) * 6, relief_mm=0.1, nut_gap_mm=0.4, frets=22)
SETUP = setup_of(GUITAR)
CAUSES = causes_of(SETUP, lowest=0)


def of_kind(kind: str) -> list[Cause]:
    return [c for c in CAUSES if c.kind == kind]


def gaps_mm(cause: Cause, size_mm: float) -> np.ndarray:
    """Return the clearance of string 3 at every fret ahead of every held fret."""
    profile = SETUP.profile_mm[2] + size_mm * cause.shape
    return clearances(profile[:-1], profile[-1], places_mm=SETUP.places_mm, scale_mm=SETUP.scale_mm)


LEVEL = gaps_mm(CAUSES[0], 0.0)


def test_every_fret_may_be_high_and_all_but_the_last_low() -> None:
    assert [c.frets for c in of_kind("high fret")] == [(f,) for f in range(1, 23)]
    # the last fret has none ahead that its note could strike
    assert [c.frets for c in of_kind("low fret")] == [(f,) for f in range(1, 22)]


def test_a_high_fret_costs_notes_behind_it_and_no_other() -> None:
    high = next(c for c in of_kind("high fret") if c.frets == (9,))
    closer = gaps_mm(high, 0.1) < LEVEL - 1e-9
    assert closer[:9, 9].all()
    assert closer.sum() == 9


def test_a_low_fret_costs_its_own_note_and_no_other() -> None:
    low = next(c for c in of_kind("low fret") if c.frets == (9,))
    closer = gaps_mm(low, 0.1) < LEVEL - 1e-9
    assert closer[9, 10:].all()
    assert closer.sum() == 22 - 9


def test_a_low_slot_costs_the_open_string_alone() -> None:
    closer = gaps_mm(of_kind("low nut slot")[0], 0.2) < LEVEL - 1e-9
    assert closer[0, 1:].all()
    assert not closer[1:].any()


def test_low_action_takes_what_it_says_at_the_twelfth_fret() -> None:
    low = of_kind("low action")[0]
    # the open string over the 12th fret: half of what the saddle comes down, 2^(-12/12)
    assert LEVEL[0, 12] - gaps_mm(low, 0.3)[0, 12] == pytest.approx(0.3, abs=1e-9)


def test_a_straight_neck_brings_the_middle_up_and_leaves_the_ends() -> None:
    straight = of_kind("neck too straight")[0]
    assert straight.shape[[1, 22, 23]] == pytest.approx(0.0, abs=1e-12)
    assert straight.shape.max() == pytest.approx(1.0, abs=0.01)
    assert straight.whole_neck


def test_an_end_rises_evenly_from_its_first_fret_to_the_last() -> None:
    for rise in of_kind("rising fret end"):
        begins = rise.frets[0] - 1
        assert (rise.shape[: begins + 1] == 0.0).all()
        assert np.diff(rise.shape[begins:23]) == pytest.approx(1.0 / (22 - begins))
        assert rise.shape[23] == 0.0, "the saddle stays"
        assert rise.whole_neck


def test_a_neck_that_ends_at_the_body_has_no_end_to_rise() -> None:
    short = setup_of(Guitar(frets=12))
    assert not [c for c in causes_of(short, lowest=0) if c.kind == "rising fret end"]


def test_a_capo_leaves_no_nut_and_no_fret_behind_it() -> None:
    causes = causes_of(SETUP, lowest=3)
    assert not [c for c in causes if c.kind == "low nut slot"]
    assert min(c.frets[0] for c in causes if c.kind == "high fret") == 4


def test_shares_of_spans_and_expected_numbers_are_whole() -> None:
    for kind in {c.kind for c in CAUSES}:
        causes = of_kind(kind)
        assert all(sum(c.span_shares) == pytest.approx(1.0) for c in causes)
        # one or two of a kind at the most
        assert np.exp([c.log_prior for c in causes]).sum() < 2.0, kind


def test_the_relief_as_measured_makes_a_straight_neck_likelier_or_less_so() -> None:
    setups = [setup_of(replace(GUITAR, relief_mm=mm)) for mm in (None, 0.25, 0.1, 0.05, 0.0, -0.3)]
    odds = [straight_odds(setup) for setup in setups]
    assert odds[0] == 0.0, "not measured"
    assert 0.0 < odds[3] < odds[4] < odds[5]
    assert straight_odds(setup_of(replace(GUITAR, relief_mm=0.07))) == 0.0, "too little to go by"
    # ten to one either way, and no more than thirty (common practice, no source)
    assert np.exp(odds[1:3]) == pytest.approx([0.1, 0.1], rel=0.2)
    assert np.exp(odds[4]) == pytest.approx(10.0, rel=0.2)
    assert np.exp(odds[5]) < 30.0
    priors = [
        next(c.log_prior for c in causes_of(setup, lowest=0) if c.kind == "neck too straight")
        for setup in setups
    ]
    assert np.array(priors) - priors[0] == pytest.approx(np.array(odds))


def test_frets_beyond_what_was_heard_are_no_cause() -> None:
    whole, played = (causes_of(SETUP, lowest=0, highest=h) for h in (None, 14))
    high, low = ([c for c in played if c.kind == kind] for kind in ("high fret", "low fret"))
    assert max(c.frets[0] for c in high) == 15, "the next one takes clearance from the last played"
    assert max(c.frets[0] for c in low) == 14, "a low one is heard on its own note"
    assert not [c for c in played if c.kind == "rising fret end"]
    assert [c for c in whole if c.kind == "rising fret end"]
    # a fret is as often high as it was, whichever were played
    assert {c.log_prior for c in high} == {c.log_prior for c in whole if c.kind == "high fret"}
