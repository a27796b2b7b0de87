"""The first partial followed over a note, and where its own phase says it lies."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.first_partial import OwnPitch, follow_first_partial, read_own_pitch
from buzzscan.measures.tracking import Track, track_partial
from buzzscan.partials import fit_partials
from buzzscan.units import hz_to_cents

RATE = 22050
HZ = 110.0
Samples = npt.NDArray[np.float64]


def partial(seconds: float, *, hz: float = HZ, sigma: float = 1.5, phase: float = 0.3) -> Samples:
    t = np.arange(round(seconds * RATE)) / RATE
    return np.asarray(0.2 * np.exp(-sigma * t) * np.cos(2 * np.pi * hz * t + phase))


def tracked(wave: Samples, *, noise_rms: float = 1e-5, against_hz: float = HZ + 0.3) -> Track:
    track = track_partial(
        wave,
        sample_rate_hz=RATE,
        frequency_hz=against_hz,
        start_s=0.08,
        stop_s=len(wave) / RATE,
        noise_db_per_hz=float(10 * np.log10(2 * noise_rms**2 / (RATE / 2))),
    )
    assert track is not None
    return track


def read(wave: Samples, *, noise_rms: float = 1e-5) -> OwnPitch:
    own = read_own_pitch(tracked(wave, noise_rms=noise_rms), fall_per_s=1.5)
    assert own is not None
    return own


def in_a_room(wave: Samples, seed: int) -> Samples:
    """Return a sound with a tail 10 dB below it, T60 0.4 s."""
    t = np.arange(round(0.4 * RATE)) / RATE
    tail = np.random.default_rng(seed).normal(size=len(t)) * np.exp(-6.91 * t / 0.4)
    tail[: RATE // 300] = 0.0
    tail *= 10 ** (-10 / 20) / np.sqrt(np.sum(tail**2))
    return wave + np.convolve(wave, tail)[: len(wave)]


@pytest.mark.parametrize("seconds", [0.25, 0.5, 2.0])
def test_a_lone_partial_is_read_where_it_lies(seconds: float) -> None:
    own = read(partial(seconds))
    # A twentieth of what the tightest bound on a note's pitch allows.
    assert abs(hz_to_cents(own.hz, HZ)) < 0.025
    assert own.error_hz / HZ < 1e-3


def test_the_error_is_what_noise_makes_it() -> None:
    noise = 0.02  # 20 dB under the partial at its onset
    waves = [partial(0.5) + np.random.default_rng(s).normal(0, noise, RATE // 2) for s in range(40)]
    readings = [read(wave, noise_rms=noise) for wave in waves]
    miss = np.array([(own.hz - HZ) / own.error_hz for own in readings])
    # The mean square of 40 is known to 22 %; the overlap of windows is a round number.
    assert 0.5 < float(np.sqrt(np.mean(miss**2))) < 1.4


def test_in_a_room_the_settled_end_counts_most() -> None:
    waves = [in_a_room(partial(0.4), seed) for seed in range(24)]
    readings = [read(wave) for wave in waves]
    off = np.array([own.hz - HZ for own in readings])
    straight = []
    for wave in waves:
        track = tracked(wave)
        slope = np.polyfit(track.times_s, np.unwrap(np.angle(track.values)), 1)[0]
        straight.append(track.frequency_hz + slope / (2 * np.pi) - HZ)
    # Against a line through all phases alike, the error is halved at the least.
    assert np.sqrt(np.mean(off**2)) < 0.5 * np.sqrt(np.mean(np.square(straight)))
    # Of 24 within 1.96 errors, 95 % less two standard deviations.
    assert np.mean(np.abs(off) < 1.96 * np.array([own.error_hz for own in readings])) >= 0.86


def test_the_dip_of_a_beat_turns_the_reading_little() -> None:
    """Two polarisations, 0.6 Hz (9 cents) apart: a tuner shows the stronger one."""
    both = partial(2.0) + 0.6 * partial(2.0, hz=HZ + 0.6, phase=2.0)
    own = read(both)
    assert abs(own.hz - HZ) < 0.15  # a quarter of what lies between them


def test_mean_energy_is_how_much_of_a_glide_is_in_the_reading() -> None:
    t = np.arange(RATE // 2) / RATE
    glide_hz, fall = 0.2, 1.5
    # The frequency is glide_hz·exp(−2σt) too high.
    turned = 2 * np.pi * (HZ * t - glide_hz * np.exp(-2 * fall * t) / (2 * fall))
    own = read(0.2 * np.exp(-fall * t) * np.cos(turned))
    assert 0.2 < own.mean_energy < 0.8  # from 80 ms to the end: exp(−0.24) and exp(−1.5)
    assert own.hz - HZ == pytest.approx(glide_hz * own.mean_energy, abs=0.01)


def test_what_is_lost_in_noise_is_not_read() -> None:
    wave = np.random.default_rng(2).normal(0, 0.05, RATE // 2)
    assert read_own_pitch(tracked(wave, noise_rms=0.05), fall_per_s=1.5) is None


def test_a_note_too_short_to_follow_says_so() -> None:
    wave = partial(0.4) + 0.5 * partial(0.4, hz=2 * HZ)
    fit = fit_partials(wave, sample_rate_hz=RATE, expected_hz=HZ)
    assert fit is not None
    short = follow_first_partial(wave, fit, sample_rate_hz=RATE, stop_s=0.15)
    assert short.track is not None  # it counts among others of its pitch
    shorter = follow_first_partial(wave, fit, sample_rate_hz=RATE, stop_s=0.12)
    assert shorter.track is None
    assert shorter.reason == "note lasts 0.12 s, need 0.18 s"
    assert short.reason == "note lasts 0.15 s, need 0.18 s"
    whole = follow_first_partial(wave, fit, sample_rate_hz=RATE, stop_s=0.39)
    assert whole.track is not None
    assert whole.track.frequency_hz == fit.pitch_hz
