"""Pitch of a note: where it is looked for, which stretch, and when it is withheld."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.first_partial import follow_first_partial
from buzzscan.measures.pitch import (
    HeardString,
    Pitch,
    _own_shift,
    hear_string,
    settled_pitch,
    settled_span_s,
)
from buzzscan.units import cents_to_ratio, hz_to_cents

RATE = 44100
Samples = npt.NDArray[np.float64]


def string(
    pitch_hz: float, *, seconds: float = 0.5, first_cents: float = 0.0, noise: float = 1e-4
) -> Samples:
    rng = np.random.default_rng(1)
    t = np.arange(round(seconds * RATE)) / RATE
    wave = rng.normal(0, noise, len(t))
    for k in range(1, 16):
        f = k * pitch_hz * np.sqrt((1 + 5e-5 * k * k) / (1 + 5e-5))
        f *= cents_to_ratio(first_cents) if k == 1 else 1.0
        wave += 0.2 / k * np.exp(-1.5 * t) * np.cos(2 * np.pi * f * t + rng.uniform(0, 6))
    return wave


def heard(wave: Samples, placed_hz: float, heard_hz: float | None = None) -> HeardString:
    found = hear_string(wave, sample_rate_hz=RATE, placed_hz=placed_hz, heard_hz=heard_hz)
    assert found is not None
    return found


def test_span_starts_after_the_attack_and_ends_before_the_note_does() -> None:
    assert settled_span_s(1.0, 110.0) == pytest.approx((0.08, 0.68))
    assert settled_span_s(0.2, 330.0) == pytest.approx((0.06, 0.185))
    start, stop = settled_span_s(0.16, 61.7) or (0.0, 0.0)
    assert (stop - start) * 61.7 >= 4.8
    assert settled_span_s(0.06, 61.7) is None


def test_choked_note_is_heard_at_the_higher_fret() -> None:
    # Placed at fret 5, sounding fret 7: the pitch is what sounds.
    sounding = 110.0 * cents_to_ratio(200.0)
    found = heard(string(sounding), 110.0, heard_hz=sounding * cents_to_ratio(5.0))
    assert hz_to_cents(found.fit.pitch_hz, 110.0) == pytest.approx(200.0, abs=0.5)


def test_octave_of_the_place_is_not_taken_for_it() -> None:
    found = heard(string(220.0), 110.0, heard_hz=220.5)
    assert hz_to_cents(found.fit.pitch_hz, 220.0) == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("seconds", [0.3, 1.0])
@pytest.mark.parametrize("pull_cents", [-6.0, 5.0, 9.0])
def test_first_partial_pulled_by_the_neck_is_what_a_tuner_reads(
    pull_cents: float, seconds: float
) -> None:
    wave = string(196.0, first_cents=pull_cents, seconds=seconds)
    found = heard(wave, 196.0)
    followed = follow_first_partial(
        wave, found.fit, sample_rate_hz=RATE, stop_s=len(wave) / RATE - 0.015
    )
    pitch = settled_pitch(
        wave, found, sample_rate_hz=RATE, decay_db_per_s=13.0, track=followed.track
    )
    assert pitch.hz is not None
    assert hz_to_cents(pitch.hz, 196.0) == pytest.approx(pull_cents, abs=0.5)
    assert abs(hz_to_cents(found.fit.pitch_hz, 196.0)) < 0.5


def test_uncertain_pitch_is_withheld() -> None:
    wave = string(65.4, seconds=0.13, noise=0.15)
    found = hear_string(wave, sample_rate_hz=RATE, placed_hz=65.4, heard_hz=None)
    if found is not None:
        pitch = settled_pitch(wave, found, sample_rate_hz=RATE, decay_db_per_s=None)
        assert pitch.hz is None
        assert pitch.reason.startswith("pitch is told within ")


def test_silence_has_no_string() -> None:
    silence = np.zeros(RATE)
    assert hear_string(silence, sample_rate_hz=RATE, placed_hz=110.0, heard_hz=None) is None


def test_error_says_how_far_off_the_pitch_may_be() -> None:
    misses = []
    for seed in range(24):
        rng = np.random.default_rng(seed)
        wave = string(110.0, seconds=0.4, first_cents=float(rng.normal(0.0, 0.3)))
        true = hz_to_cents(110.0, 110.0)
        wave += rng.normal(0, 0.02, len(wave))  # 20 dB under the note
        pitch = settled_pitch(wave, heard(wave, 110.0), sample_rate_hz=RATE, decay_db_per_s=13.0)
        assert pitch.hz is not None
        assert pitch.error_cents is not None
        misses.append(abs(hz_to_cents(pitch.hz, 110.0) - true) / pitch.error_cents)
    assert np.mean(np.array(misses) < 1.96) >= 0.83  # 95 % of 24, less two standard deviations
    assert max(misses) > 0.2  # an error so wide that nothing comes near it says nothing


def pitch_with_first_off(off_cents: float) -> Pitch:
    wave = string(116.0, first_cents=off_cents, seconds=1.0)
    found = heard(wave, 116.0)
    followed = follow_first_partial(wave, found.fit, sample_rate_hz=RATE, stop_s=0.98)
    return settled_pitch(
        wave, found, sample_rate_hz=RATE, decay_db_per_s=13.0, track=followed.track
    )


def test_beside_a_strong_resonance_the_first_partial_is_not_overruled() -> None:
    pitch = pitch_with_first_off(15.0)
    assert pitch.hz is not None
    assert hz_to_cents(pitch.hz, 116.0) == pytest.approx(15.0, abs=0.5)


def test_so_far_off_that_it_may_be_a_stranger_no_pitch_is_told() -> None:
    pitch = pitch_with_first_off(32.0)
    assert pitch.hz is None
    assert pitch.reason == "first partial lies 32 cents off the others: another sound?"


@pytest.mark.parametrize("pitch_hz", [110.0, 440.0, 1300.0])
def test_a_reading_that_no_shift_makes_likely_is_weighed_all_the_same(pitch_hz: float) -> None:
    fit = SimpleNamespace(pitch_hz=pitch_hz, scatter_cents=0.2, pitch_error_cents=0.1)
    shift, left = _own_shift(fit, (24.0, 0.1))  # type: ignore[arg-type]
    assert 0.0 < shift < 24.0
    assert left < 24.0
