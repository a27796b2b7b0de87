"""Open strings that ring along."""

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.simulate import SimGuitar
from buzzscan.simulate.modes import string_modes
from buzzscan.simulate.sympathy import ringing_along

RATE = 44100
GUITAR = SimGuitar.from_guitar(Guitar())


def _rms(x: np.ndarray) -> float:
    return float(np.sqrt(np.mean(x**2)))


def test_a_string_answers_its_own_pitch_and_no_other() -> None:
    t = np.arange(8 * RATE) / RATE
    own = float(string_modes(GUITAR, 4, pressed=0, stop=0).f_hz[0])
    answers = [
        _rms(
            ringing_along(np.sin(2 * np.pi * hz * t), GUITAR, share=0.1, sample_rate_hz=RATE)[
                -RATE:
            ]
        )
        for hz in (own, own * 2 ** (1 / 12))
    ]
    # a tenth of a sine of rms 0.707, once the string has been driven for long
    assert answers[0] == pytest.approx(0.0707, rel=0.05)
    assert answers[1] < 0.1 * answers[0]


def test_it_rings_on_after_the_note_has_stopped() -> None:
    t = np.arange(4 * RATE) / RATE
    own = float(string_modes(GUITAR, 4, pressed=0, stop=0).f_hz[0])
    note = np.where(t < 2.0, np.sin(2 * np.pi * own * t), 0.0)
    got = ringing_along(note, GUITAR, share=0.1, sample_rate_hz=RATE)
    sigma = float(string_modes(GUITAR, 4, pressed=0, stop=0).sigma[0])
    # 0.1 s windows a second apart: it falls as the open string does, 3 %
    fall = _rms(got[int(3.5 * RATE) : int(3.6 * RATE)]) / _rms(
        got[int(2.5 * RATE) : int(2.6 * RATE)]
    )
    assert -np.log(fall) == pytest.approx(sigma, rel=0.03)


def test_muted_strings_add_nothing() -> None:
    assert not ringing_along(np.ones(100), GUITAR, share=0.0, sample_rate_hz=RATE).any()
