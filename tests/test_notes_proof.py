"""Which candidates are picked strings."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from runs_by_hand import RATE_HZ, heard

from buzzscan.notes.proof import note_odds, weeded

USUAL = [45.0, 46.0, 47.0, 48.0, 49.0]


def odds(**last: Any) -> float:
    """Return the odds of a candidate after five plain ones."""
    plain = heard([*USUAL, 50.0])
    values = {name: getattr(plain, name).copy() for name in last}
    for name, value in last.items():
        values[name][-1] = value
    result = note_odds(heard([*USUAL, 50.0], **values))
    assert result[:-1].min() > 0.9
    return float(result[-1])


def test_a_plain_pick_is_sure() -> None:
    assert odds() > 0.95


@pytest.mark.parametrize(
    "missing",
    [
        {"new": 0.0},  # the string rings on
        {"rise_db": -10.0, "tone_rise_db": -10.0},  # a note ends
        {"n_found": 1, "share": 0.05, "whole_share": 0.05},  # a knock
    ],
)
def test_odds_vanish_with_one_thing_that_every_pick_does(missing: dict[str, float]) -> None:
    assert odds(**missing) < 0.1


def test_a_voice_is_no_string() -> None:
    """Its partials lie straight, or on no line as they glide; it swells and is softer."""
    soft = {"gain_db": 5.0, "level_db": -33.0}
    assert odds(b=2e-6, b_sd=2e-6, gain_db=5.0) < 0.3
    assert odds(b=2e-5, b_sd=2e-5, **soft) < 0.3
    assert odds(b=2e-4, b_sd=1e-6, misfit=8.0, **soft) < 0.3


def test_a_soft_pick_shows_its_stiffness() -> None:
    assert odds(b=2e-5, b_sd=7e-7, gain_db=4.0, level_db=-38.0) > 0.8


def test_a_sharp_attack_needs_no_steady_partials() -> None:
    assert odds(steady=0.5, gain_db=30.0) > 0.9
    assert odds(steady=0.5, gain_db=6.0, misfit=8.0) < 0.5


def test_a_squeak_hides_an_attack_but_not_a_string() -> None:
    assert odds(gain_db=4.0, steady=0.75, rise_db=30.0) > 0.9


def pair(gap_s: float, midi: tuple[float, float], **values: Any) -> list[float]:
    """Return the onsets in s that are kept of two candidates."""
    onset = np.array([0.0, gap_s]) * RATE_HZ
    both = heard(list(midi), onset=onset.astype(np.intp), **values)
    return (weeded(both, RATE_HZ).onset / RATE_HZ).tolist()


def test_of_two_in_one_attack_the_later_is_the_pick() -> None:
    assert pair(0.03, (45.0, 46.0)) == [pytest.approx(0.03, abs=1e-4)]


def test_a_click_in_an_attack_is_no_pick() -> None:
    # as loud, but nothing new: a string that keeps striking a fret
    new, partials = np.array([0.14, 0.0]), np.array([20, 12])
    assert pair(0.04, (45.0, 46.0), new=new, n_found=partials) == [0.0]


def test_a_finger_that_lands_is_not_the_pick() -> None:
    kept = pair(0.1, (46.0, 46.0), level_db=np.array([-40.0, -20.0]))
    assert kept == [pytest.approx(0.1, abs=1e-4)]


def test_a_string_that_comes_clear_of_a_fret_was_picked_before() -> None:
    """Sharp at first, at its pitch 0.1 s later, with no attack there."""
    clearing = {
        "gain_db": np.array([35.0, 3.0]),
        "rise_db": np.array([40.0, 2.0]),
        "misfit": np.array([12.0, 0.3]),
    }
    onset = np.array([0, round(0.1 * RATE_HZ)])
    both = heard([57.5, 57.0], onset=onset, **clearing)
    kept = weeded(both, RATE_HZ)
    assert kept.onset.tolist() == [0]
    assert kept.pitch_hz[0] == both.pitch_hz[1]
    assert kept.gain_db[0] == 35.0


def test_a_string_picked_again_is_kept_twice() -> None:
    assert len(pair(0.3, (57.0, 57.0), rise_db=np.array([40.0, 2.0]))) == 2
