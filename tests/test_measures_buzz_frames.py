"""Prediction of a string from its past: one sinusoid per bin, and pairs that beat."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.buzz_frames import Fresh, make_frames, predict, predict_pairs
from buzzscan.measures.buzz_noise import NoiseFloor

RATE = 44100
F1 = 110.0
SILENCE = NoiseFloor(np.array([0.0, RATE / 2.0]), np.array([1e-15, 1e-15]))
Samples = npt.NDArray[np.float64]


def left_db(fresh: Fresh) -> float:
    return float(10.0 * np.log10(fresh.left[0].sum() / fresh.power[0].sum()))


def both(samples: Samples) -> tuple[float, float]:
    frames = make_frames(samples.astype(np.float32), rate=RATE, f1=F1, noise=SILENCE)
    return left_db(predict(frames)), left_db(predict_pairs(frames))


def tone(f: float, sigma: float = 3.0) -> Samples:
    t = np.arange(round(0.54 * RATE)) / RATE
    return 0.1 * np.exp(-sigma * t) * np.sin(2 * np.pi * f * t)


def test_a_damped_sinusoid_is_predicted() -> None:
    one, two = both(tone(1100.0, sigma=12.0))
    # the pair is held back by the little that keeps its two constants from blowing up
    assert one < -60.0
    assert two < -35.0


@pytest.mark.parametrize("apart_hz", [4.0, 8.0])
def test_a_beating_pair_is_free_for_two_constants_only(apart_hz: float) -> None:
    one, two = both(tone(1100.0) + 0.7 * tone(1100.0 + apart_hz))
    assert one > -20.0
    assert two < one - 15.0


def test_noise_is_never_predicted() -> None:
    one, two = both(0.1 * np.random.default_rng(5).normal(size=round(0.54 * RATE)))
    # −3 and −4 dB: chance explains some, and frames half a length apart overlap
    assert one > -3.0
    assert two > -4.0
