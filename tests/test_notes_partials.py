"""Pitch and inharmonicity of strings made by hand."""

from __future__ import annotations

import numpy as np
import pytest
from runs_by_hand import RATE_HZ, hz, pluck

from buzzscan.notes.partials import CandidateFits, fit_candidates
from buzzscan.notes.spectra import spectra_around


def fitted(samples: np.ndarray, start_hz: float) -> CandidateFits:
    at = RATE_HZ // 2
    noise = 1e-4 * np.random.default_rng(2).standard_normal(at + RATE_HZ)
    noise[at : at + len(samples)] += samples
    spectra = spectra_around(
        noise.astype(np.float32), RATE_HZ, np.array([at]), np.array([len(samples)])
    )
    return fit_candidates(spectra, np.array([0]), np.array([start_hz]))


@pytest.mark.parametrize(
    ("midi", "b"), [(40, 1e-4), (45, 3e-4), (59, 5e-5), (64, 1.4e-5), (64, 3e-4), (28, 2e-3)]
)
@pytest.mark.parametrize("off_cents", [-12.0, 0.0, 12.0])
def test_pitch_and_b_are_found(midi: float, b: float, off_cents: float) -> None:
    note = pluck(hz(midi), b, np.random.default_rng(3), seconds=0.5)
    fit = fitted(note, hz(midi) * 2.0 ** (off_cents / 1200.0))
    first_hz = hz(midi) * np.sqrt(1.0 + b)
    assert abs(1200.0 * np.log2(fit.pitch_hz[0] / first_hz)) < 1.0
    assert fit.b[0] == pytest.approx(b, rel=0.1)
    assert fit.misfit[0] < 1.0
    assert fit.n_found[0] >= 10


def test_noise_has_no_partials() -> None:
    noise = 0.1 * np.random.default_rng(4).standard_normal(RATE_HZ // 2)
    assert fitted(noise, 196.0).n_found[0] < 6


def test_partials_here_and_there_are_on_no_line() -> None:
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    off = [h * 1.01 ** (-1) ** h for h in range(1, 20)]  # 17 cents to and fro
    voice = sum(np.sin(2 * np.pi * 130.0 * h * t) / h for h in off)
    straight = sum(np.sin(2 * np.pi * 130.0 * h * t) / h for h in range(1, 20))
    assert fitted(0.1 * voice, 130.0).misfit[0] > 3.0
    assert fitted(0.1 * straight, 130.0).misfit[0] < 0.5


def test_the_strongest_partials_are_named() -> None:
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    tone = 0.3 * np.sin(2 * np.pi * 220.0 * t) + 0.1 * np.sin(2 * np.pi * 440.0 * t)
    fit = fitted(tone, 220.0)
    assert fit.strong_hz[0, :2] == pytest.approx([220.0, 440.0], abs=0.2)
    assert fit.share[0] > 0.9
    assert fit.rise_db[0] > 40.0
