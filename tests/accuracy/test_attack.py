"""Accuracy of touches heard in the attack, on takes that nothing is fitted to: figures and bounds.

Brief touches: those of notes that ring clear after the attack, beside notes that touch nothing.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest
from training.examples import rows_of_seed, table
from training.fit import auc
from training.fit_attack import attacks_of
from training.guitars import drawn_string
from training.necks import drawn_chain, drawn_guitar, drawn_neck, drawn_performance

from buzzscan import scan
from buzzscan.measures.attack_numbers import TREES
from buzzscan.recording import recording_from_samples
from buzzscan.simulate import Fault, simulate_take

FIRST_SEED, TAKES = 6000, 2
"""The fit ends below these seeds."""


@cache
def told(model: str) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return the log odds of notes that touch briefly, and of notes that do not."""
    first = FIRST_SEED + int(model == "grid")
    rows = [row for i in range(TAKES) for row in rows_of_seed(first + 2 * i, model, necks=True)]
    assert {row["model"] for row in rows} == {model}
    attacks = attacks_of(table(rows))
    odds = TREES.sums(attacks.columns)
    return odds[attacks.brief], odds[attacks.free]


@pytest.mark.slow
@pytest.mark.parametrize(("model", "least"), [("modes", 0.93), ("grid", 0.85), ("waveguide", 0.7)])
def test_brief_touches_are_told(model: str, least: float) -> None:
    brief, free = told(model)
    area = auc(free, brief)
    found = float(np.mean(brief > np.quantile(free, 0.97)))
    print(f"\n{model}: {brief.size} brief, {free.size} free; AUC {area:.3f}, found {found:.2f}")
    assert area > least


@pytest.mark.slow
def test_a_clear_attack_is_not_called_a_touch() -> None:
    # at even odds a likelihood ratio of three to one cannot befall more than a third of free notes
    free = told("modes")[1]
    assert float(np.mean(free > np.log(3.0))) < 1.0 / 3.0
    # and its mean is that of no evidence: 1, give or take what trees of another population miss
    assert float(np.mean(np.clip(np.exp(free), 0.2, 15.0))) < 1.5


@pytest.mark.slow
@pytest.mark.parametrize("model", ["modes", "grid"])
def test_picks_that_slip_off_faster_and_slower_are_no_touches(model: str) -> None:
    """A string that is let go faster starts brighter, as one that touches a fret does."""
    rng = np.random.default_rng([FIRST_SEED, 1])
    guitar = drawn_guitar(rng)
    # so high a neck that nothing touches it
    high = (Fault(kind="action", amount=1.5), Fault(kind="nut slot", amount=0.5))
    neck = replace(drawn_neck(rng, guitar, (), seed=1), faults=high)
    played = replace(drawn_performance(rng, neck), strings=(1, 3), passes="up", release_sd=0.5)
    take = simulate_take(neck, played, drawn_chain(rng), seed=1, **drawn_string(model, rng))
    assert all(n.contact_until_s == 0.0 for n in take.truth)
    recording = recording_from_samples(take.samples, take.sample_rate_hz)
    told = [n.attack_contact for n in scan(recording, guitar).notes]
    odds = np.array([p for p in told if p is not None])
    print(f"\n{model}: of {odds.size} free notes {np.mean(odds > 0.9):.3f} start like a touch")
    assert odds.size > 30
    assert float(np.mean(odds > 0.9)) <= 0.05
