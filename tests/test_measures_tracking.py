"""A partial over time: amplitude, noise, and what lies beside it."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.measures.tracking import Track, track_partial

RATE = 22050


def test_track_reads_amplitude_and_noise() -> None:
    rng = np.random.default_rng(4)
    wave = 0.1 * np.cos(2 * np.pi * 200.0 * np.arange(RATE) / RATE) + rng.normal(0, 0.01, RATE)
    track = track_partial(
        wave,
        sample_rate_hz=RATE,
        frequency_hz=200.0,
        start_s=0.08,
        stop_s=1.0,
        noise_db_per_hz=10 * np.log10(2 * 1e-4 / (RATE / 2)),
    )
    assert isinstance(track, Track)
    assert float(np.sqrt(track.powers.mean())) == pytest.approx(0.1, rel=0.01)
    # 30 windows, half of them independent: a variance known to some 25 %, twice that allowed.
    spread = float(np.mean(np.abs(track.values - track.values.mean()) ** 2))
    assert spread == pytest.approx(track.noise, rel=0.5)


def test_other_partials_are_in_no_window() -> None:
    t = np.arange(RATE) / RATE
    first = 0.1 * np.cos(2 * np.pi * 147.0 * t)
    others = sum(0.1 * np.cos(2 * np.pi * 147.0 * k * t + k) for k in range(2, 9))
    alone, among = (
        track_partial(
            wave,
            sample_rate_hz=RATE,
            frequency_hz=147.0,
            start_s=0.08,
            stop_s=0.9,
            noise_db_per_hz=-150.0,
        )
        for wave in (first, first + others)
    )
    assert alone is not None
    assert among is not None
    # Whole periods to a window but for rounding to samples: 60 dB under the partial.
    np.testing.assert_allclose(among.values, alone.values, atol=1e-4)


def test_too_short_a_stretch_has_no_track() -> None:
    track = track_partial(
        np.ones(RATE // 10),
        sample_rate_hz=RATE,
        frequency_hz=41.2,
        start_s=0.08,
        stop_s=0.1,
        noise_db_per_hz=-120.0,
    )
    assert track is None
