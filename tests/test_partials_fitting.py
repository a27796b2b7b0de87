"""Pitch and inharmonicity: exact where the signal is, robust where strangers lie in it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.partials import PartialFit, fit_partials, measure_partials

RATE = 44100
Samples = npt.NDArray[np.float64]


def string(
    pitch_hz: float,
    b: float,
    *,
    seconds: float = 0.4,
    n: int = 24,
    missing: tuple[int, ...] = (),
    noise: float = 1e-4,
    seed: int = 0,
) -> Samples:
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE
    f0 = pitch_hz / np.sqrt(1 + b)
    wave = rng.normal(0, noise, len(t))
    for k in range(1, n + 1):
        f = k * f0 * np.sqrt(1 + b * k * k)
        if k not in missing and f < 0.45 * RATE:
            phase = rng.uniform(0, 2 * np.pi)
            wave += 0.3 / k * np.exp(-(1 + 0.1 * k) * t) * np.cos(2 * np.pi * f * t + phase)
    return wave


def fitted(samples: Samples, expected_hz: float) -> PartialFit:
    fit = fit_partials(samples, sample_rate_hz=RATE, expected_hz=expected_hz)
    assert fit is not None
    return fit


def cents(a: float, b: float) -> float:
    return 1200.0 * float(np.log2(a / b))


@pytest.mark.parametrize(
    ("b", "number"),
    [
        # Kemp, SN Applied Sciences 2:636 (2020): these make the partial 100 cents sharp.
        (1.2246e-3, 10),
        (3.4017e-3, 6),
    ],
)
def test_published_stretch_of_partials(b: float, number: int) -> None:
    fit = fitted(string(220.0, b, n=16), 220.0)
    harmonic_hz = number * fit.f0_hz
    partial_hz = harmonic_hz * np.sqrt(1.0 + fit.likely_b * number**2)
    # 0.1 cent is the rounding of the published B.
    assert cents(partial_hz, harmonic_hz) == pytest.approx(100.0, abs=0.1)


@pytest.mark.parametrize(
    ("pitch_hz", "b", "seconds"),
    [(41.2, 1.5e-4, 0.2), (82.4, 8e-5, 0.1), (329.6, 1.4e-5, 0.2), (1244.5, 2.2e-4, 0.09)],
)
def test_pitch_is_the_first_partial(pitch_hz: float, b: float, seconds: float) -> None:
    fit = fitted(string(pitch_hz, b, seconds=seconds), pitch_hz * 2 ** (20 / 1200))
    # Noise 70 dB down leaves hundredths of a cent; a tenth is far below what anybody hears.
    assert abs(cents(fit.pitch_hz, pitch_hz)) < 0.1
    assert fit.inharmonicity == pytest.approx(b, rel=0.05)


def test_missing_first_partials_make_no_octave_error() -> None:
    fit = fitted(string(110.0, 6e-5, missing=(1, 2)), 110.0)
    assert abs(cents(fit.pitch_hz, 110.0)) < 0.2
    assert fit.numbers[0] == 3


def with_hum(wave: Samples) -> Samples:
    t = np.arange(len(wave)) / RATE
    return wave + sum(0.05 * np.sin(2 * np.pi * 60.0 * k * t + k) for k in range(1, 8))


def with_neighbour(wave: Samples) -> Samples:
    return wave + 0.1 * string(146.8, 5e-5, seconds=len(wave) / RATE, seed=9)


def with_click(wave: Samples) -> Samples:
    clicked = wave.copy()
    clicked[5000:5200] += np.random.default_rng(3).normal(0, 0.05, 200)
    return clicked


@pytest.mark.parametrize("spoil", [with_hum, with_neighbour, with_click])
def test_strangers_are_set_aside(spoil: Callable[[Samples], Samples]) -> None:
    fit = fitted(spoil(string(116.5, 8e-5)), 116.5)
    assert abs(cents(fit.pitch_hz, 116.5)) < 0.5  # the bar for clean takes
    assert fit.inharmonicity == pytest.approx(8e-5, rel=0.05)


def test_shifted_first_partial_does_not_move_the_rest() -> None:
    t = np.arange(round(0.4 * RATE)) / RATE
    wave = string(196.0, 1e-4, missing=(1,)) + 0.3 * np.exp(-t) * np.cos(2 * np.pi * 195.0 * t)
    fit = fitted(wave, 196.0)
    assert abs(cents(fit.pitch_hz, 196.0)) < 0.5
    assert fit.used[0] < 0.1
    assert fit.frequencies_hz[0] == pytest.approx(195.0, abs=0.05)


def test_few_partials_give_no_inharmonicity() -> None:
    fit = fitted(string(659.3, 5e-5, n=3), 659.3)
    assert fit.inharmonicity is None
    assert fit.reason == "3 partials stand clear of the noise, need 5"


def test_noise_hides_inharmonicity_before_pitch() -> None:
    fit = fitted(string(329.6, 1.4e-5, noise=0.5, seconds=0.15), 329.6)
    assert fit.inharmonicity is None
    assert "need 2.0 %" in fit.reason or "partials stand clear" in fit.reason
    assert abs(cents(fit.pitch_hz, 329.6)) < 4.0 * fit.pitch_error_cents + 0.05


def test_nothing_is_heard_in_noise_or_too_short_a_stretch() -> None:
    noise = np.random.default_rng(1).normal(0, 0.1, 8000)
    assert fit_partials(noise, sample_rate_hz=RATE, expected_hz=2500.0) is None
    short = string(82.4, 8e-5, seconds=0.04)
    assert fit_partials(short, sample_rate_hz=RATE, expected_hz=82.4) is None


@pytest.mark.parametrize("factor", [-1.0, 1e-3, 3.0])
def test_gain_and_polarity_change_nothing(factor: float) -> None:
    wave = string(146.8, 9e-5)
    one, other = fitted(wave, 146.8), fitted(factor * wave, 146.8)
    assert other.pitch_hz == pytest.approx(one.pitch_hz, rel=1e-7)  # float32 transform


def test_level_noise_and_decay_of_partials() -> None:
    fit = fitted(string(220.0, 1e-4, seconds=0.5, noise=1e-3), 220.0)
    t = np.arange(round(0.5 * RATE)) / RATE
    # The reading weighs the time by the window's square.
    window = np.sin(np.pi * t / 0.5) ** 4
    mean = float((window * np.exp(-2.2 * t)).sum() / window.sum())
    assert fit.levels_db[0] == pytest.approx(20 * np.log10(0.3) + 10 * np.log10(mean), abs=0.1)
    assert fit.decays_db_per_s[0] == pytest.approx(8.686 * 1.1, rel=0.02)
    # Noise of variance 1e-6 over half the rate, against a sine's mean square of 1/2.
    expected = 10 * np.log10(2 * 1e-6 / (RATE / 2))
    assert float(np.median(fit.noises_db[12:])) == pytest.approx(expected, abs=2.0)


def test_known_partials_are_measured_with_their_errors() -> None:
    frequencies, errors = measure_partials(
        string(220.0, 0.0, n=3, noise=1e-3), sample_rate_hz=RATE, frequencies_hz=(221.0, 439.0, 900)
    )
    assert frequencies[:2] == pytest.approx([220.0, 440.0], abs=0.01)
    assert errors[0] < 0.01
    assert np.isinf(errors[2])  # 240 Hz beside any partial


@pytest.mark.parametrize("pitch_hz", [110.0, 329.6])
def test_agrees_with_a_reference_library(pitch_hz: float) -> None:
    librosa = pytest.importorskip("librosa")
    wave = string(pitch_hz, 0.0, n=10, seconds=0.5)
    track = librosa.yin(wave, fmin=70, fmax=500, sr=RATE, frame_length=4096)
    fit = fitted(wave, pitch_hz)
    # A harmonic tone, on which the general tracker is right within its interpolation.
    assert abs(cents(float(np.median(track[2:-4])), fit.pitch_hz)) < 3.0


def test_agrees_with_a_probabilistic_tracker() -> None:
    librosa = pytest.importorskip("librosa")
    wave = string(196.0, 0.0, n=10, seconds=0.5)
    track, voiced, _ = librosa.pyin(
        wave, fmin=80, fmax=400, sr=RATE, frame_length=4096, resolution=0.05
    )
    # its candidates lie a twentieth of a semitone apart
    assert abs(cents(float(np.median(track[voiced])), fitted(wave, 196.0).pitch_hz)) < 5.0
