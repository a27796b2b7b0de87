"""The moment of an attack, on edges whose place is known."""

from __future__ import annotations

import numpy as np
import pytest
from runs_by_hand import GAP_S, LEAD_S, NOTE_S, RATE_HZ, run

from buzzscan.notes.attack import cut_out, refine

RUN = run(frets=(0, 1, 2, 3)).astype(np.float32)
ONSETS = np.round((LEAD_S + np.arange(8) * (NOTE_S + GAP_S)) * RATE_HZ).astype(np.intp)


@pytest.mark.parametrize("off_s", [-0.03, 0.0, 0.03])
def test_an_attack_is_found_from_a_rough_place(off_s: float) -> None:
    at, gain_db = refine(RUN, RATE_HZ, ONSETS + round(off_s * RATE_HZ))
    # Steps are 1 ms, and the plucks rise over 2 ms.
    assert np.abs(at - ONSETS).max() < 0.0025 * RATE_HZ
    assert gain_db.min() > 15.0


def test_where_nothing_begins_nothing_rises() -> None:
    noise = 0.01 * np.random.default_rng(0).standard_normal(RATE_HZ).astype(np.float32)
    _, gain_db = refine(noise, RATE_HZ, np.array([RATE_HZ // 2]))
    assert gain_db[0] < 5.0


def test_no_places_give_no_attacks() -> None:
    at, gain_db = refine(RUN, RATE_HZ, np.zeros(0, np.intp))
    assert len(at) == len(gain_db) == 0


def test_pieces_hold_zeros_beyond_the_samples() -> None:
    pieces = cut_out(np.arange(1.0, 5.0, dtype=np.float32), np.array([-2, 2]), 4)
    assert pieces.tolist() == [[0.0, 0.0, 1.0, 2.0], [3.0, 4.0, 0.0, 0.0]]
