"""Glide of the attack: what all partials share is taken off, what one does alone is not."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.glide import glide_of
from buzzscan.measures.pitch import HeardString, hear_string, settled_pitch
from buzzscan.units import hz_to_cents

RATE = 44100
Samples = npt.NDArray[np.float64]


def gliding(
    pitch_hz: float, cents: float, *, seconds: float = 0.4, sigma: float = 2.0, seed: int = 0
) -> Samples:
    """Return a string that starts `cents` sharp; the excess falls with the energy."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE
    excess = cents * np.log(2) / 1200 * (1 - np.exp(-2 * sigma * t)) / (2 * sigma)
    wave = rng.normal(0, 1e-4, len(t))
    for k in range(1, 16):
        f = k * pitch_hz * np.sqrt((1 + 5e-5 * k * k) / (1 + 5e-5))
        phase = 2 * np.pi * f * (t + excess) + rng.uniform(0, 6)
        wave += 0.2 / k * np.exp(-sigma * t) * np.cos(phase)
    return wave


def heard(wave: Samples, pitch_hz: float) -> HeardString:
    found = hear_string(wave, sample_rate_hz=RATE, placed_hz=pitch_hz, heard_hz=None)
    assert found is not None
    return found


@pytest.mark.parametrize("cents", [1.5, 4.0])
@pytest.mark.parametrize("seconds", [0.3, 1.0])
def test_pitch_is_where_the_glide_settles(cents: float, seconds: float) -> None:
    wave = gliding(196.0, cents, seconds=seconds)
    found = heard(wave, 196.0)
    pitch = settled_pitch(wave, found, sample_rate_hz=RATE, decay_db_per_s=17.4)
    assert pitch.hz is not None
    assert abs(hz_to_cents(pitch.hz, 196.0)) < 0.5  # the bar for a clean take
    # Without it, half the glide and more would be left.
    assert hz_to_cents(found.fit.pitch_hz, 196.0) > 0.15 * cents


def test_steady_string_has_no_glide() -> None:
    wave = gliding(196.0, 0.0)
    found = heard(wave, 196.0)
    piece = wave[round(found.start_s * RATE) : round(found.stop_s * RATE)]
    glide = glide_of(
        piece, found.fit, sample_rate_hz=RATE, start_s=found.start_s, decay_db_per_s=17.4
    )
    assert abs(glide.cents) < 0.05
    assert glide.error_cents < 0.3


def test_beating_of_one_partial_is_no_glide() -> None:
    wave = gliding(196.0, 0.0)
    t = np.arange(len(wave)) / RATE
    wave += 0.06 * np.exp(-2 * t) * np.cos(2 * np.pi * 198.0 * t + 2.0)
    found = heard(wave, 196.0)
    pitch = settled_pitch(wave, found, sample_rate_hz=RATE, decay_db_per_s=17.4)
    assert pitch.hz is not None
    assert abs(hz_to_cents(pitch.hz, 196.0)) < 0.5


def test_too_short_to_halve_is_left_alone() -> None:
    wave = gliding(82.4, 3.0, seconds=0.14)
    found = heard(wave, 82.4)
    piece = wave[round(found.start_s * RATE) : round(found.stop_s * RATE)]
    glide = glide_of(
        piece, found.fit, sample_rate_hz=RATE, start_s=found.start_s, decay_db_per_s=None
    )
    assert (glide.cents, glide.unrest_cents) == (0.0, None)


def test_unrest_is_what_moves_the_low_partials_against_each_other() -> None:
    def unrest(wave: Samples) -> float:
        found = heard(wave, 196.0)
        piece = wave[round(found.start_s * RATE) : round(found.stop_s * RATE)]
        glide = glide_of(
            piece, found.fit, sample_rate_hz=RATE, start_s=found.start_s, decay_db_per_s=17.4
        )
        assert glide.unrest_cents is not None
        return glide.unrest_cents

    steady = gliding(196.0, 3.0, seconds=0.6)  # a glide that all share is no unrest
    room = np.random.default_rng(5).normal(size=RATE // 2) * np.exp(-np.arange(RATE // 2) / 4000.0)
    room[: RATE // 100] = 0.0
    wet = steady + 0.5 * np.convolve(steady, room / np.sqrt(np.sum(room**2)))[: len(steady)]
    assert unrest(steady) < 0.05
    assert unrest(wet) > 0.1


@pytest.mark.parametrize("cents", [0.0, 0.4, 1.6])
def test_the_reading_at_the_onset_is_the_glide_on_average(cents: float) -> None:
    """Of many notes; a string's fall is taken as known."""
    read = []
    for seed in range(12):
        wave = gliding(147.0, cents, seconds=0.5, seed=seed)
        found = heard(wave, 147.0)
        pitch = settled_pitch(wave, found, sample_rate_hz=RATE, decay_db_per_s=17.4)
        assert pitch.glide_cents is not None
        read.append(pitch.glide_cents)
    assert np.mean(read) == pytest.approx(cents, abs=0.05 + 0.15 * cents)


def test_a_reading_lost_in_noise_is_none() -> None:
    rng = np.random.default_rng(3)
    wave = gliding(147.0, 1.0, seconds=0.3) + rng.normal(0, 0.05, round(0.3 * RATE))
    found = heard(wave, 147.0)
    pitch = settled_pitch(wave, found, sample_rate_hz=RATE, decay_db_per_s=17.4)
    assert pitch.glide_cents is None
