"""Conversions between units, against values that are defined or in tables."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.units import (
    DB_PER_NEPER,
    FLOOR_DB,
    amplitude_to_db,
    cents_to_ratio,
    hz_to_cents,
    power_to_db,
    rate_to_t60,
)


def test_levels_of_numbers_and_arrays() -> None:
    assert amplitude_to_db(0.1) == pytest.approx(-20.0)
    assert power_to_db(0.1) == pytest.approx(-10.0)
    assert isinstance(power_to_db(0.1), float)
    assert amplitude_to_db(np.array([[1.0, 0.0]])) == pytest.approx(np.array([[0.0, FLOOR_DB]]))
    assert power_to_db(np.array([10.0, 0.0])) == pytest.approx(np.array([10.0, FLOOR_DB]))


def test_a_neper_is_its_standard_number_of_decibels() -> None:
    # ISO 80000-3: 1 Np = 20 lg(e) dB, about 8.685889638 dB.
    assert pytest.approx(8.685889638, abs=1e-9) == DB_PER_NEPER


def test_cents_are_a_twelve_hundredth_of_an_octave() -> None:
    assert hz_to_cents(880.0, 440.0) == pytest.approx(1200.0)
    assert hz_to_cents(660.0, 440.0) == pytest.approx(701.955, abs=1e-3)  # a pure fifth
    assert cents_to_ratio(hz_to_cents(445.0, 440.0)) == pytest.approx(445.0 / 440.0)


def test_what_does_not_fall_has_no_time_of_fall() -> None:
    assert rate_to_t60(12.0) == pytest.approx(5.0)
    assert rate_to_t60(0.0) is None
    assert rate_to_t60(-3.0) is None
