"""Cues of contact: what a damped sinusoid, noise, a squeak and a second string make of them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.buzz_cues import Cues, hear_cues
from buzzscan.measures.buzz_noise import NoiseFloor

RATE = 44100
SILENCE = NoiseFloor(np.array([0.0, RATE / 2.0]), np.array([1e-15, 1e-15]))
Samples = npt.NDArray[np.float64]


def string(f1: float, seconds: float, b: float = 1e-4) -> Samples:
    """Return a free stiff string with partials up to 9 kHz."""
    t = np.arange(round(seconds * RATE)) / RATE
    out = np.zeros(t.size)
    for k in range(1, int(9000 / f1)):
        f = k * f1 * np.sqrt(1.0 + b * k * k)
        out += np.exp(-(1.0 + 1e-7 * f * f) * t) * np.cos(2 * np.pi * f * t + k) / k
    return 0.1 * out


def heard(samples: Samples, f1: float, noise: NoiseFloor = SILENCE) -> Cues:
    cues = hear_cues(
        samples.astype(np.float32), sample_rate_hz=RATE, first_partial_hz=f1, noise=noise
    )
    assert cues is not None
    return cues


@pytest.mark.parametrize("f1", [82.4, 220.0, 659.3])
def test_a_free_string_follows_from_its_past(f1: float) -> None:
    cues = heard(string(f1, 0.7), f1)
    # leakage of a Hann frame of 4.2 periods leaves neighbouring partials −30 dB in each other
    assert max(cues.fresh_db) < -20.0
    assert cues.fresh_line_low_db < -25.0
    assert max(cues.rough_db) < 0.5


def test_noise_does_not_follow_from_its_past() -> None:
    noise = 0.1 * np.random.default_rng(1).normal(size=RATE)
    cues = heard(noise, 200.0)
    # −3 dB: the fit of one coefficient to few frames explains some of it by chance
    assert min(cues.fresh_db) > -3.0


def test_noise_that_is_known_is_not_taken_for_contact() -> None:
    rng = np.random.default_rng(2)
    density = 2e-3**2 * 2.0 / RATE
    known = NoiseFloor(np.array([0.0, RATE / 2.0]), np.array([density, density]))
    noisy = string(196.0, 0.6) + 2e-3 * rng.normal(size=round(0.6 * RATE))
    assert heard(noisy, 196.0, known).fresh_db[2] < heard(noisy, 196.0).fresh_db[2] - 5.0
    assert max(heard(noisy, 196.0, known).fresh_db) < -12.0


def test_a_squeak_at_the_end_leaves_the_early_cues_alone() -> None:
    rng = np.random.default_rng(3)
    clean = string(147.0, 0.6)
    squeaky = clean.copy()
    squeaky[-4000:] += 0.02 * rng.normal(size=4000)
    a, b = heard(clean, 147.0), heard(squeaky, 147.0)
    assert b.fresh_db == pytest.approx(a.fresh_db, abs=0.5)
    assert b.fresh_held_db == pytest.approx(a.fresh_held_db, abs=4.0)
    assert b.course_fresh_db[-1] > a.course_fresh_db[-1] + 10.0


def test_parts_add_up_to_the_energy_of_a_tone() -> None:
    t = np.arange(RATE) / RATE
    tone = 0.2 * np.sin(2 * np.pi * 2000.0 * t)
    cues = heard(tone, 200.0)
    # the stretch is 0.545 s of 1 s
    assert cues.part_db[1] == pytest.approx(10 * np.log10(0.545), abs=0.1)
    assert max(cues.part_db[0], *cues.part_db[2:]) < -60.0


def test_cues_do_not_need_the_exact_pitch_or_stiffness() -> None:
    for b in (1e-5, 3e-4):
        for error in (0.97, 1.03):
            wave = string(110.0, 0.6, b)
            assert max(heard(wave, 110.0 * error).fresh_db) < -15.0


def test_too_short_is_none() -> None:
    short = string(200.0, 0.12).astype(np.float32)
    assert hear_cues(short, sample_rate_hz=RATE, first_partial_hz=200.0, noise=SILENCE) is None


@pytest.mark.parametrize("f1", [30.9, 1174.7])
@pytest.mark.parametrize("rate", [16000, 48000])
@pytest.mark.parametrize("seconds", [0.13, 0.3, 2.0])
def test_every_pitch_rate_and_length_gives_finite_cues(
    f1: float, rate: int, seconds: float
) -> None:
    wave = np.sin(2 * np.pi * f1 * np.arange(round(seconds * rate)) / rate).astype(np.float32)
    cues = hear_cues(wave, sample_rate_hz=rate, first_partial_hz=f1, noise=SILENCE)
    assert cues is not None
    for name in Cues.__slots__:
        assert np.all(np.isfinite(np.asarray(getattr(cues, name), np.float64))), name


def test_silence_is_finite() -> None:
    cues = heard(np.zeros(RATE), 200.0)
    assert np.all(np.isfinite(cues.fresh_db))
