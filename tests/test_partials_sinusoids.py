"""Sinusoids in a stretch: place and decay to a small part of a bin, errors that hold."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.partials.sinusoids import ERROR_OF_PEAK, interpolate, read_peaks, spectrum_of

RATE = 48000
N = 4800


def damped(frequency_hz: float, sigma: float, phase: float = 0.3) -> npt.NDArray[np.float64]:
    t = np.arange(N) / RATE
    return np.asarray(np.exp(-sigma * t) * np.cos(2 * np.pi * frequency_hz * t + phase))


@pytest.mark.parametrize("frequency_hz", [1000.0, 1002.5, 1005.0, 1009.9])
@pytest.mark.parametrize("sigma", [0.0, 2.0, 20.0])
def test_place_and_decay_of_a_damped_sinusoid(frequency_hz: float, sigma: float) -> None:
    spectrum = spectrum_of(damped(frequency_hz, sigma), RATE)
    assert spectrum is not None
    top = int(np.argmax(spectrum.power))
    place, _ = interpolate(spectrum.bins[[top - 1, top, top + 1]][None, :])
    # 1e-3 of a 10 Hz bin: the mirror image 200 bins away is left in.
    assert (top + place[0].real) * spectrum.bin_hz == pytest.approx(frequency_hz, abs=1e-2)
    assert 2 * np.pi * place[0].imag * spectrum.bin_hz == pytest.approx(sigma, abs=0.05)


def test_leakage_of_a_louder_neighbour_is_taken_off() -> None:
    low, high = 203.1, 258.4  # 5.5 bins apart
    spectrum = spectrum_of(damped(low, 1.0) + 10.0 * damped(high, 1.0, 2.0), RATE)
    assert spectrum is not None
    top = np.round(np.array([low, high]) / spectrum.bin_hz).astype(np.intp)
    read = read_peaks(spectrum, np.array([1, 2]), top, 5.5)
    rough, _ = interpolate(spectrum.bins[top[:, None] + np.array([-1, 0, 1])])
    off = abs(read.place[0].real * spectrum.bin_hz - low)
    # One bin is 10 Hz: leakage alone moves it by a tenth of one, what is left by a hundredth.
    assert off < 0.05
    assert off < 0.1 * abs((top[0] + rough[0].real) * spectrum.bin_hz - low)


def test_error_of_a_peak_is_that_of_noise() -> None:
    rng = np.random.default_rng(5)
    off = []
    for _ in range(300):
        frequency = 1000.0 + 10.0 * rng.uniform(-0.5, 0.5)
        spectrum = spectrum_of(damped(frequency, 0.0) + rng.normal(0, 0.3, N), RATE)
        assert spectrum is not None
        top = np.array([round(frequency / spectrum.bin_hz)])
        place = read_peaks(spectrum, np.array([1]), top, 100.0).place[0].real
        # A Hann peak of amplitude 1 has (N/4)², white noise of variance s² has 3N/8·s² a bin.
        ratio = np.sqrt((N / 4) ** 2 / (0.375 * N * 0.09))
        off.append((place - frequency / spectrum.bin_hz) * ratio)
    # 300 draws know a standard deviation to 4 %; 15 % allows for the dip between two bins.
    assert float(np.std(off)) == pytest.approx(ERROR_OF_PEAK, rel=0.15)


def test_too_short_a_stretch_has_no_spectrum() -> None:
    assert spectrum_of(np.zeros(12), RATE) is None
