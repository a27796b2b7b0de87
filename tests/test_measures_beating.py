"""Exponentials within a partial are told apart where they can be."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.beating import resolve

STEP_S = 0.01
TIMES = 0.08 + STEP_S * np.arange(120)


def pair(beat_hz: float, *, noise: float = 1e-4, second: float = 0.3) -> npt.NDArray[np.complex128]:
    rng = np.random.default_rng(0)
    z = np.exp(-1.5 * TIMES + 0.5j) + second * np.exp((-2.5 + 2j * np.pi * beat_hz) * TIMES)
    return np.asarray(z + noise * (rng.normal(size=120) + 1j * rng.normal(size=120)))


@pytest.mark.parametrize("beat_hz", [0.6, -1.4, 4.0])
def test_pair_is_resolved(beat_hz: float) -> None:
    found = resolve(TIMES, pair(beat_hz), noise=2e-8)
    assert found is not None
    assert np.abs(found.amplitudes[:2]) == pytest.approx([1.0, 0.3], rel=0.05)
    assert found.decays_per_s[:2] == pytest.approx([1.5, 2.5], abs=0.1)
    assert found.detunings_hz[1] - found.detunings_hz[0] == pytest.approx(beat_hz, abs=0.02)
    assert found.residual_ratio < 1e-3


def test_one_exponential_needs_no_second() -> None:
    assert resolve(TIMES, pair(1.0, second=0.0), noise=2e-8) is None


def test_noise_hides_the_second() -> None:
    assert resolve(TIMES, pair(1.0, noise=0.3), noise=0.18) is None


def test_too_few_points() -> None:
    assert resolve(TIMES[:12], pair(1.0)[:12], noise=0.0) is None


def test_closer_pairs_are_less_certain() -> None:
    near, far = (resolve(TIMES, pair(beat), noise=2e-8) for beat in (0.4, 2.0))
    assert near is not None
    assert far is not None
    assert near.covariance[0, 0].real > 10.0 * far.covariance[0, 0].real
