"""What partials do across an onset."""

from __future__ import annotations

import numpy as np
from runs_by_hand import RATE_HZ

from buzzscan.notes.tones import Tones, follow_tones

AT = RATE_HZ // 2
T = (np.arange(RATE_HZ) - AT) / RATE_HZ
PARTIALS_HZ = np.array([[220.0, 440.0, 660.0]])


def tone(start_s: float, phase: float = 0.0, glide: float = 0.0) -> np.ndarray:
    turns = 220.0 * (T + 0.5 * glide * T * T)
    wave = sum(np.sin(2 * np.pi * h * turns + phase * h) / h for h in (1, 2, 3))
    return np.asarray(0.2 * wave * (start_s <= T))


def followed(samples: np.ndarray, off_s: float = 0.0) -> Tones:
    noise = 1e-4 * np.random.default_rng(0).standard_normal(len(samples))
    return follow_tones(
        (samples + noise).astype(np.float32),
        RATE_HZ,
        np.array([AT + round(off_s * RATE_HZ)]),
        np.array([RATE_HZ // 3]),
        partials_hz=PARTIALS_HZ,
        powers=np.array([[1.0, 0.25, 0.1]]),
    )


def test_a_tone_out_of_silence_is_new_and_steady() -> None:
    tones = followed(tone(0.0))
    assert tones.new[0] > 0.9
    assert tones.rise_db[0] > 30.0
    assert tones.steady[0] > 0.95


def test_a_tone_that_rings_on_is_not_new() -> None:
    tones = followed(tone(-1.0))
    assert tones.new[0] < 0.05
    assert tones.rise_db[0] < 1.0


def test_a_string_picked_again_is_new_though_no_louder() -> None:
    samples = np.where(T < 0.0, tone(-1.0), tone(0.0, phase=2.0))
    assert followed(samples).new[0] > 0.5


def test_a_gliding_tone_is_less_steady() -> None:
    assert followed(tone(0.0, glide=0.8)).steady[0] < 0.9


def test_the_beginning_is_where_the_partials_begin() -> None:
    # A squeak 35 ms earlier was taken for the onset; the tone says better.
    begin_s = (followed(tone(0.0), off_s=-0.035).begin[0] - AT) / RATE_HZ
    assert abs(begin_s) < 0.008


def test_a_note_that_stops_before_is_not_the_beginning() -> None:
    """A far softer pick follows a note a semitone lower that stops 30 ms before it."""
    lower = np.sin(2 * np.pi * 207.65 * T) * (T < -0.03)
    tones = followed(lower + 0.1 * tone(0.0))
    assert abs((tones.begin[0] - AT) / RATE_HZ) < 0.012
