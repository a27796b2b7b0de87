"""Bands and their rises."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.notes.frames import band_levels, frame_grid, rises

RATE_HZ = 44100
GRID = frame_grid(RATE_HZ)


def sine(hz: float, seconds: float = 1.0, start_s: float = 0.0) -> np.ndarray:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return (np.sin(2 * np.pi * hz * t) * (t >= start_s)).astype(np.float32)


def test_a_full_scale_sine_stands_in_its_band() -> None:
    levels = band_levels(sine(1000.0), GRID)
    hz = GRID.edges * RATE_HZ / GRID.n_frame
    band = int(np.searchsorted(hz, 1000.0)) - 1
    middle = levels[len(levels) // 2]
    assert abs(int(np.argmax(middle)) - band) <= 1
    # All bins of a Hann peak add up to 1.5 of its top, and some may lie in the next band.
    assert middle.max() == pytest.approx(0.0, abs=2.5)
    assert middle[0] < -90.0


@pytest.mark.parametrize("rate_hz", [16000, 44100, 96000])
def test_frames_are_as_long_at_any_rate(rate_hz: int) -> None:
    grid = frame_grid(rate_hz)
    assert 0.03 < grid.n_frame / rate_hz < 0.066
    assert grid.edges[-1] <= grid.n_frame // 2
    assert (np.diff(grid.edges) > 0).all()


def test_a_beginning_is_a_rise_and_a_steady_tone_is_none() -> None:
    noise = 1e-4 * np.random.default_rng(0).standard_normal(RATE_HZ)
    tones = sum(sine(220.0 * h, start_s=0.5) for h in range(1, 9))
    tones *= np.clip((0.9 * RATE_HZ - np.arange(RATE_HZ)) / (0.2 * RATE_HZ), 0.0, 1.0)
    frames = rises(band_levels((noise + 0.1 * tones).astype(np.float32), GRID))
    assert len(frames) == 1
    assert frames[0] * GRID.hop / RATE_HZ == pytest.approx(0.5, abs=0.03)


def test_too_short_a_recording_has_no_rise() -> None:
    assert len(rises(np.zeros((2, 5), np.float32))) == 0
