"""Noise of a recording: known densities, hum, talk between notes, no silence at all."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.buzz_noise import measure_noise_floor
from buzzscan.notes.note import Note
from buzzscan.recording import Recording, recording_from_samples

RATE = 44100
LEVEL = 1e-3
DENSITY = LEVEL**2 * 2.0 / RATE
Samples = npt.NDArray[np.float64]


def note(onset_s: float, end_s: float) -> Note:
    return Note(
        id=1,
        recording=0,
        string=3,
        fret=5,
        direction="up",
        onset_s=onset_s,
        end_s=end_s,
        pitch_hz=None,
        placed=1.0,
        judged=True,
        reason="",
    )


def take(extra: Samples | None = None) -> tuple[Recording, list[Note]]:
    rng = np.random.default_rng(1)
    samples = LEVEL * rng.normal(size=6 * RATE)
    t = np.arange(3 * RATE) / RATE
    samples[2 * RATE : 5 * RATE] += 0.3 * np.exp(-t) * np.sin(2 * np.pi * 262.0 * t)
    if extra is not None:
        samples += extra
    return recording_from_samples(samples, RATE), [note(2.0, 5.0)]


def test_density_of_white_noise() -> None:
    floor = measure_noise_floor(*take())
    inside = floor.at(np.linspace(500.0, 20000.0, 500))
    # 30 % quantile of some 60 half-overlapping frames: 15 % per bin, under 5 % over 500
    assert np.mean(inside) == pytest.approx(DENSITY, rel=0.1)


def test_hum_stands_out() -> None:
    t = np.arange(6 * RATE) / RATE
    floor = measure_noise_floor(*take(0.01 * np.sin(2 * np.pi * 150.0 * t)))
    assert floor.at(np.array([150.0]))[0] > 100.0 * DENSITY
    assert floor.at(np.array([1000.0]))[0] < 2.0 * DENSITY


def test_talk_in_the_silence_is_passed_over() -> None:
    talk = np.zeros(6 * RATE)
    talk[RATE // 2 : RATE] = 0.1 * np.random.default_rng(2).normal(size=RATE // 2)
    floor = measure_noise_floor(*take(talk))
    assert np.mean(floor.at(np.linspace(500.0, 20000.0, 500))) < 2.0 * DENSITY


def test_without_silence_the_ends_of_notes_serve() -> None:
    recording, _ = take()
    floor = measure_noise_floor(recording, [note(0.0, 6.0)])
    assert np.all(np.isfinite(floor.densities))
    assert np.all(floor.densities > 0.0)


def test_no_notes() -> None:
    recording, _ = take()
    assert np.all(measure_noise_floor(recording, []).densities > 0.0)
