"""Levels gathered block by block are those of the whole recording."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.recording.levels import Levels, LevelTrack, mixes_of

RATE = 8000


def gathered(wave: np.ndarray, block: int) -> Levels:
    track = LevelTrack(RATE, wave.shape[1], step=2.0**-15)
    for start in range(0, len(wave), block):
        track.add(wave[start : start + block])
    return track.levels()


@pytest.mark.parametrize("n_channels", [1, 2, 3])
def test_levels_do_not_depend_on_blocks(n_channels: int) -> None:
    rng = np.random.default_rng(1)
    wave = rng.normal(0.01, 0.1, (RATE + 37, n_channels)).astype(np.float32)
    whole, pieces = gathered(wave, len(wave)), gathered(wave, 10 * RATE // 100)
    mixed = wave @ mixes_of(n_channels).T
    np.testing.assert_allclose(whole.peak, np.abs(mixed).max(axis=0), rtol=1e-6)
    np.testing.assert_allclose(whole.mean, mixed.mean(axis=0), atol=1e-6)
    framed = mixed[:RATE].reshape(100, RATE // 100, -1)
    np.testing.assert_allclose(whole.power, (framed**2).mean(axis=1), rtol=1e-4)
    np.testing.assert_array_equal(pieces.power, whole.power)
    np.testing.assert_array_equal(pieces.peak, whole.peak)


def test_peak_in_the_rest_that_fills_no_frame_counts() -> None:
    wave = np.zeros((RATE + 20, 1), np.float32)
    wave[-1] = -0.7
    assert gathered(wave, len(wave)).peak == pytest.approx([0.7])


def test_cut_tops_are_counted_in_their_frames() -> None:
    t = np.arange(RATE) / RATE
    wave = np.clip(0.5 * np.sin(2 * np.pi * 100.0 * t), -1.0, 0.4)[:, None].astype(np.float32)
    levels = gathered(wave, len(wave))
    # Above 0.8 of its height a sine stays for 0.205 of its period: 16 of 80 samples, each frame.
    assert levels.flat.min() >= 15
    assert levels.near.max() <= 20
