"""High rates are brought down: what is kept keeps its time and level, what is not is gone."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.recording.thinning import HIGHEST_RATE_HZ, Thinner, thinning_factor


@pytest.mark.parametrize(
    ("rate_hz", "factor"), [(44100, 1), (48000, 1), (50000, 1), (88200, 2), (96000, 2), (192000, 4)]
)
def test_factor(rate_hz: int, factor: int) -> None:
    assert thinning_factor(rate_hz) == factor
    assert rate_hz / factor <= HIGHEST_RATE_HZ


def thinned(wave: np.ndarray, factor: int, block: int) -> np.ndarray:
    thinner = Thinner(factor, 1)
    parts = [thinner.add(wave[i : i + block, None]) for i in range(0, len(wave), block)]
    return np.concatenate([*parts, thinner.end()])[:, 0]


@pytest.mark.parametrize("block", [50, 4410, 96000])
def test_a_low_tone_passes_without_delay(block: int) -> None:
    t = np.arange(96000) / 96000.0
    wave = np.sin(2 * np.pi * 1000.0 * t).astype(np.float32)
    out = thinned(wave, 2, block)
    assert len(out) == 48000
    # The filter's ripple, 90 dB down, away from the ends that it blurs.
    np.testing.assert_allclose(out[500:-500], wave[::2][500:-500], atol=1e-4)


def test_what_would_fold_back_is_taken_off() -> None:
    t = np.arange(96000) / 96000.0
    wave = np.sin(2 * np.pi * 38000.0 * t).astype(np.float32)  # would become 10 kHz
    assert np.abs(thinned(wave, 2, 96000)[500:-500]).max() < 10.0 ** (-80.0 / 20.0)
