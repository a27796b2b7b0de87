"""Runs over a neck, made sample by sample or candidate by candidate."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import numpy.typing as npt

from buzzscan.notes.hearing import Heard
from buzzscan.notes.spectra import PITCHES_HZ
from buzzscan.recording import Recording

RATE_HZ = 22050
NOTE_S, GAP_S, LEAD_S = 0.35, 0.05, 0.4

Samples = npt.NDArray[np.float64]


class _Memory:
    def __init__(self, samples: npt.NDArray[np.float32]) -> None:
        self.samples = samples

    def read(self, start: int, stop: int) -> npt.NDArray[np.float32]:
        return self.samples[start:stop]


def recording(samples: Samples, name: str = "take.wav") -> Recording:
    """Return a recording of samples in memory, silent ones too."""
    held = samples.astype(np.float32)
    return Recording(
        name=name,
        sha256="0" * 64,
        sample_rate_hz=RATE_HZ,
        file_rate_hz=RATE_HZ,
        n_samples=len(held),
        peak_dbfs=-10.0,
        noise_dbfs=-75.0,
        warnings=(),
        path=None,
        source=_Memory(held),
    )


def hz(midi: float) -> float:
    """Return the frequency of a MIDI number."""
    return float(440.0 * 2.0 ** ((midi - 69.0) / 12.0))


def open_b(midi: float) -> float:
    """Return a usual inharmonicity of an open string: wound below A#3, else plain."""
    return 8e-5 if midi < 58 else 1.4e-5 * 2.0 ** ((64.0 - midi) / 3.0)


def pluck(
    pitch_hz: float, b: float, rng: np.random.Generator, *, seconds: float = NOTE_S
) -> Samples:
    """Return a plucked stiff string that fades over its last 20 ms."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    h = np.arange(1, 31)
    partial_hz = h * pitch_hz * np.sqrt(1.0 + b * h**2)
    h, partial_hz = h[partial_hz < 0.45 * RATE_HZ], partial_hz[partial_hz < 0.45 * RATE_HZ]
    phase = rng.uniform(0.0, 2.0 * np.pi, len(h))
    level = np.abs(np.sin(np.pi * 0.17 * h)) / h**1.2
    wave = (
        level[:, None]
        * np.exp(-np.outer(1.2 + 0.2 * h, t))
        * np.sin(2 * np.pi * np.outer(partial_hz, t) + phase[:, None])
    ).sum(axis=0)
    fade = np.minimum(t / 0.002, 1.0) * np.minimum((t[-1] - t) / 0.02, 1.0)
    return np.asarray(0.3 * wave / np.abs(wave).max() * fade)


def run(open_midi: tuple[float, ...] = (45,), frets: tuple[int, ...] = tuple(range(13))) -> Samples:
    """Return a run up and down each string; B grows up the neck as 2^(fret/6)."""
    rng = np.random.default_rng(0)
    parts = [np.zeros(round(LEAD_S * RATE_HZ))]
    for midi in open_midi:
        for fret in (*frets, *frets[::-1]):
            parts += [
                pluck(hz(midi + fret), open_b(midi) * 2.0 ** (fret / 6.0), rng),
                np.zeros(round(GAP_S * RATE_HZ)),
            ]
    samples = np.concatenate(parts)
    return samples + 10.0 ** (-75.0 / 20.0) * rng.standard_normal(len(samples))


def heard(midi: list[float], *, gap_s: float = 0.5, **other: Any) -> Heard:
    """Return candidates that are plainly picked strings, with any field given otherwise."""
    n = len(midi)
    pitch_hz = np.array([hz(m) for m in midi])
    near = np.abs(1200.0 * np.log2(PITCHES_HZ / pitch_hz[:, None])) < 30.0
    values: dict[str, Any] = {
        "onset": (np.arange(n) * gap_s * RATE_HZ).astype(np.intp),
        "gain_db": 30.0,
        "scores": near.astype(np.float16),
        "pitch_hz": pitch_hz,
        "b": np.array([open_b(m) for m in midi]),
        "b_sd": 1e-6,
        "n_found": 20,
        "misfit": 0.2,
        "rise_db": 40.0,
        "share": 0.9,
        "whole_share": 0.9,
        "new": 1.0,
        "tone_rise_db": 30.0,
        "steady": 0.99,
        "level_db": -20.0,
    } | other
    for field in fields(Heard):
        values[field.name] = np.array(
            np.broadcast_to(values[field.name], (n, *np.shape(values[field.name])[1:]))
        )
    return Heard(**values)


def a_string(midi: float = 45, frets: tuple[int, ...] = tuple(range(13)), **other: Any) -> Heard:
    """Return candidates of one string up and down, its B growing up the neck."""
    fret = np.array((*frets, *frets[::-1]))
    b = open_b(midi) * 2.0 ** (fret / 6.0)
    return heard([midi + f for f in fret], **({"b": b} | other))
