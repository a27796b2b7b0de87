"""A recording read at the wrong rate is told by an offset between two frets."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.notes.speed import offset_remarks, told_of_speed
from buzzscan.recording import Recording, recording_from_samples


@pytest.fixture(scope="module")
def recording() -> Recording:
    noise = np.random.default_rng(0).normal(0.0, 0.1, 44100)
    return recording_from_samples(noise, 44100)


def added(recording: Recording, offset_cents: float) -> list[str]:
    told = told_of_speed((recording, recording), offset_cents)
    new = [r.warnings[len(recording.warnings) :] for r in told]
    assert new[0] == new[1]
    assert all(w.code == "speed" for w in new[0])
    assert all(w.spoils == () for w in new[0])  # it may as well be the tuning: nothing is withheld
    return [w.message for w in new[0]]


@pytest.mark.parametrize("off", [-3.0, 0.0, 4.0])
def test_rates_that_were_mixed_up_are_named(recording: Recording, off: float) -> None:
    # 1200·log2(48/44.1) is 146.7 cents: a fret, and 46.7 cents.
    (sharp,) = added(recording, 46.7 + off)
    (flat,) = added(recording, -46.7 + off)
    assert "as a 44.1 kHz recording read as 48 kHz does" in sharp
    assert "is named one too high, and decays are 9 % too fast" in sharp
    assert "as a 48 kHz recording read as 44.1 kHz does" in flat
    assert "is named one too low, and decays are 8 % too slow" in flat


@pytest.mark.parametrize("offset", [0.0, 12.0, -31.8, 36.0, 58.0])
def test_other_tunings_are_no_wrong_speed(recording: Recording, offset: float) -> None:
    # −31.8 cents is A4 = 432 Hz.
    assert added(recording, offset) == []


def test_an_instrument_off_its_pitch_is_said_to_be() -> None:
    assert offset_remarks(-12.0, Guitar()) == offset_remarks(9.0, Guitar()) == ()
    (flat,), (sharp,) = (offset_remarks(cents, Guitar(a4_hz=442.0)) for cents in (-31.8, 55.2))
    assert flat == "the whole instrument lies 32 cents below its nominal pitch (A4 = 442 Hz)"
    assert "55 cents above" in sharp
