"""Levels of the whole note: decay times by the standard's ranges, and the attack."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.measures.level import (
    DecayTimes,
    FrameLevels,
    attack_level_dbfs,
    decay_times,
    frame_levels,
)

RATE = 20000


def noise_burst(sigma: float, seconds: float, range_db: float, seed: int = 0) -> DecayTimes:
    """Decay times of an exponential whose peak lies `range_db` over stationary noise."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE
    tone = np.exp(-sigma * t) * np.sqrt(2.0) * np.sin(2 * np.pi * 500.0 * t)
    noise = 10 ** (-range_db / 20)
    levels = frame_levels(tone + rng.normal(0, noise, len(t)), sample_rate_hz=RATE, onset_s=0.0)
    return decay_times(levels, noise_dbfs=-range_db, stop_s=seconds)


def test_exponential_by_the_standards_definitions() -> None:
    # ISO 3382-1: all three are the time for 60 dB, 6.908/σ for an exponential.
    times = noise_burst(1.0, 10.0, 70.0)
    for value in (times.edt_s, times.t20_s, times.t30_s):
        assert value == pytest.approx(6.908, rel=0.01)
    assert times.withheld == ()


@pytest.mark.parametrize(
    ("range_db", "t20", "t30"), [(30.0, False, False), (36.0, True, False), (47.0, True, True)]
)
def test_range_over_the_noise(range_db: float, *, t20: bool, t30: bool) -> None:
    # ISO 3382-1: noise at least 10 dB under the foot of the range: 35 dB for T20, 45 for T30.
    times = noise_burst(3.0, 4.0, range_db)
    assert (times.t20_s is not None, times.t30_s is not None) == (t20, t30)
    for name in ("t20_s", "t30_s"):
        assert (name in dict(times.withheld)) == (getattr(times, name) is None)
    if t20:
        assert times.t20_s == pytest.approx(6.908 / 3.0, rel=0.05)


def test_stopped_note_has_the_range_to_its_end() -> None:
    times = noise_burst(1.0, 1.5, 70.0)  # falls 13 dB, then stops
    assert times.edt_s is None
    assert dict(times.withheld)["t20_s"] == (
        "the note falls through 13 dB over the noise, need 35 dB"
    )


@pytest.mark.parametrize(
    ("n", "reason"),
    [(3, "note is shorter than 50 ms"), (40, "note does not fall before its end")],
)
def test_notes_that_do_not_fall(n: int, reason: str) -> None:
    rising = FrameLevels(times_s=(np.arange(n) + 0.5) * 0.01, powers=np.arange(1.0, n + 1))
    assert dict(decay_times(rising, noise_dbfs=-90.0, stop_s=9.0).withheld)["edt_s"] == reason


def test_attack_is_the_highest_ten_milliseconds_near_the_onset() -> None:
    wave = np.concatenate([np.zeros(600), 0.5 * np.ones(2000), 0.9 * np.ones(2000)])
    levels = frame_levels(wave, sample_rate_hz=RATE, onset_s=0.03)
    assert attack_level_dbfs(levels) == pytest.approx(-6.02, abs=0.01)
