"""Slope of a whole note's level: analytic decays, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.measures.level_slope import fit_level_slope, not_told, refused, straight_line

TIMES = np.linspace(0.08, 1.5, 100)


@pytest.mark.parametrize("rate", [4.0, 12.0, 40.0])
def test_slope_of_an_exponential(rate: float) -> None:
    powers = 1e-2 * 10.0 ** (-rate * TIMES / 10.0)
    fit = fit_level_slope(TIMES, powers, noise=0.0, frames_per_independent=1.0)
    assert fit.rate_db_per_s == pytest.approx(rate, rel=1e-3)  # rounding only
    assert fit.low_db_per_s is not None
    assert fit.high_db_per_s is not None
    assert fit.low_db_per_s < rate < fit.high_db_per_s


def test_noise_is_taken_off_and_its_stretch_left_out() -> None:
    # 60 dB of fall over a range of 40: a line through all of it would read 20 dB/s less.
    powers = 1e-2 * 10.0 ** (-40.0 * TIMES / 10.0) + 1e-6
    fit = fit_level_slope(TIMES, powers, noise=1e-6, frames_per_independent=1.0)
    assert fit.rate_db_per_s == pytest.approx(40.0, rel=0.02)


def test_level_within_the_noise_is_refused() -> None:
    quiet = fit_level_slope(
        np.linspace(0.1, 0.5, 20), np.full(20, 1.1e-6), noise=1e-6, frames_per_independent=2.0
    )
    assert quiet.rate_db_per_s is None
    assert quiet.reason == "level is 0 dB over the noise, seen for 0.40 s; need 6 dB for 0.05 s"
    none = refused(np.zeros(0), np.zeros(0), 1e-6)
    assert none.reason == "level is 0 dB over the noise, seen for 0.00 s; need 6 dB for 0.05 s"
    assert not_told("so").reason == "so"


def test_level_that_just_clears_the_noise_is_refused_and_does_not_fail() -> None:
    # Its frames stand 3 to 10 dB over the noise; the last round leaves none of them, or one.
    rng = np.random.default_rng(0)
    times = 0.05 + 0.01 * np.arange(30)
    for _ in range(2000):
        powers = 1e-8 * 10.0 ** (rng.normal(6.5, 1.2, 30) / 10.0)
        fit = fit_level_slope(times, powers, noise=1e-8, frames_per_independent=1.0)
        assert (fit.rate_db_per_s is None) == bool(fit.reason)


def test_straight_line_is_that_of_least_squares() -> None:
    level = -12.0 * TIMES + 3.0 + np.sin(9.0 * TIMES)
    assert straight_line(TIMES, level) == pytest.approx(np.polyfit(TIMES, level, 1), rel=1e-9)
