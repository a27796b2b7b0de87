"""Which pitch explains a spectrum."""

from __future__ import annotations

import numpy as np
import pytest
from runs_by_hand import RATE_HZ, hz, open_b, pluck

from buzzscan.notes.spectra import PITCHES_HZ, pitch_scores, spectra_around


def scores_of(midi: float, before: float | None = None) -> np.ndarray:
    """Return the scores of a pluck after 0.5 s, over another one or over silence."""
    rng = np.random.default_rng(1)
    samples = 1e-4 * rng.standard_normal(round(1.1 * RATE_HZ))
    at = RATE_HZ // 2
    if before is not None:
        samples[:at] += pluck(hz(before), open_b(before), rng, seconds=0.5)[:at]
    note = pluck(hz(midi), open_b(midi), rng, seconds=0.5)
    samples[at : at + len(note)] += note
    spectra = spectra_around(
        samples.astype(np.float32), RATE_HZ, np.array([at]), np.array([RATE_HZ // 2])
    )
    return pitch_scores(spectra)[0]


@pytest.mark.parametrize("midi", [28.0, 40.0, 52.3, 64.0, 76.0, 88.0])
def test_the_best_pitch_is_the_one_that_sounds(midi: float) -> None:
    scores = scores_of(midi)
    best = PITCHES_HZ[int(np.argmax(scores))]
    # Pitches are 12.5 cents apart.
    assert abs(1200.0 * np.log2(best / hz(midi))) < 13.0
    assert scores.max() == pytest.approx(1.0)


def test_what_rang_before_does_not_count() -> None:
    best = PITCHES_HZ[int(np.argmax(scores_of(46.0, before=45.0)))]
    assert abs(1200.0 * np.log2(best / hz(46.0))) < 13.0


def test_the_window_is_the_longest_with_room() -> None:
    samples = np.zeros(2 * RATE_HZ, np.float32)
    room = np.array([0.05, 0.1, 0.2, 1.0]) * RATE_HZ
    spectra = spectra_around(samples, RATE_HZ, np.full(4, RATE_HZ), room.astype(np.intp))
    assert spectra.window_s == pytest.approx([0.07, 0.09, 0.15, 0.35], abs=0.001)
