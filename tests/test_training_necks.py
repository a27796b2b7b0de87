"""Whole necks drawn for what is learnt and for what is judged."""

from __future__ import annotations

import numpy as np
import pytest
from training.necks import (
    draw_neck,
    drawn_guitar,
    drawn_neck,
    drawn_performance,
    drawn_truth,
)

from buzzscan.neck.verdict import CONTACT_KINDS

SEEDS = range(40)


@pytest.mark.parametrize("kind", sorted(CONTACT_KINDS))
def test_a_neck_has_the_fault_that_is_told_of_it(kind: str) -> None:
    rng = np.random.default_rng(3)
    guitar = drawn_guitar(rng)
    truth = drawn_truth(rng, kind, guitar)
    faulty, level = (drawn_neck(np.random.default_rng(4), guitar, t, 1) for t in (truth, ()))
    lines = [
        [
            np.array([*n.line(s).fret_mm[1:], n.line(s).nut_mm, n.line(s).saddle_mm])
            for s in guitar.strings
        ]
        for n in (faulty, level)
    ]
    moved = [float(np.abs(a - b).max()) > 0.0 for a, b in zip(*lines, strict=True)]
    assert moved == [s in truth[0].strings for s in guitar.strings]
    assert not level.faults


def test_a_player_digs_in_as_far_as_the_neck_lets_him() -> None:
    swings = []
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        neck = drawn_neck(rng, drawn_guitar(rng), (), seed)
        played = drawn_performance(rng, neck)
        swings.append(played.amplitude_mm * np.sin(np.deg2rad(played.angle_deg)))
    # away from the board by a tenth to a half of what the string is over it there: 1.3–3 mm
    assert 0.1 < min(swings) < max(swings) < 1.5


def test_a_take_is_of_all_strings_and_says_how_it_was_made() -> None:
    take = draw_neck(2)
    assert {t.string for t in take.truth} == set(take.guitar.strings)
    assert (take.model, take.kind) == ("modes", "rough neck")
