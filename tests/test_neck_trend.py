"""The robust trend: exact on a polynomial, unmoved by isolated bad values and by a dip."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buzzscan.neck.trend import trend_of

FRETS = np.arange(23.0)


def smooth(frets: np.ndarray) -> np.ndarray:
    return 2.2 + 0.03 * frets + 0.0008 * frets**2


def test_a_parabola_is_given_back() -> None:
    trend = trend_of(FRETS, smooth(FRETS))
    assert trend is not None
    assert trend.at(FRETS) == pytest.approx(smooth(FRETS), abs=1e-6)


@pytest.mark.parametrize("dip", [(7,), (11, 12), (4, 5, 6), (3, 9, 15, 20)])
def test_bad_values_do_not_bend_it(dip: tuple[int, ...]) -> None:
    rng = np.random.default_rng(1)
    values = smooth(FRETS) + rng.normal(0.0, 0.05, 23)
    values[list(dip)] += np.log(2.5)
    trend = trend_of(FRETS, values)
    assert trend is not None
    # three standard errors of a parabola through 23 values that scatter by 0.05
    assert np.abs(trend.at(FRETS) - smooth(FRETS)).max() < 0.09


def test_the_spread_is_that_of_the_good_values() -> None:
    rng = np.random.default_rng(2)
    values = smooth(FRETS) + rng.normal(0.0, 0.1, 23)
    values[8] += 2.0
    trend = trend_of(FRETS, values)
    assert trend is not None
    assert 0.05 < trend.spread < 0.18


def test_few_values_make_no_trend() -> None:
    assert trend_of([1, 2, 3], [1.0, 1.0, 1.0]) is None


def test_few_values_make_a_level_one() -> None:
    trend = trend_of([1, 2, 3, 4, 5], [1.0, 1.1, 0.9, 1.0, 5.0])
    assert trend is not None
    assert trend.at([1, 5]) == pytest.approx([1.0, 1.0], abs=0.1)


def test_it_runs_on_level_beyond_the_values() -> None:
    trend = trend_of(FRETS[:12], smooth(FRETS[:12]))
    assert trend is not None
    assert trend.at(40.0) == pytest.approx(float(trend.at(30.0)))


@settings(max_examples=25, deadline=None)
@given(shift=st.floats(-5, 5), factor=st.floats(0.1, 10))
def test_it_shifts_and_scales_with_the_values(shift: float, factor: float) -> None:
    values = smooth(FRETS) + 0.1 * np.sin(FRETS * 1.7)
    first = trend_of(FRETS, values, floor=1e-9)
    second = trend_of(FRETS, factor * values + shift, floor=1e-9)
    assert first is not None
    assert second is not None
    assert second.at(FRETS) == pytest.approx(factor * first.at(FRETS) + shift, abs=1e-4)


def test_uncertain_values_count_by_their_errors() -> None:
    rng = np.random.default_rng(7)
    errors = np.where(FRETS % 2 == 0, 0.02, 0.6)
    values = smooth(FRETS) + rng.normal(0.0, errors)
    weighed = trend_of(FRETS, values, errors=errors, floor=0.02)
    blind = trend_of(FRETS, values, floor=0.02)
    assert weighed is not None
    assert blind is not None
    off = [np.abs(t.at(FRETS) - smooth(FRETS)).max() for t in (weighed, blind)]
    # three standard errors of a parabola through the 12 good values
    assert off[0] < 0.05 < off[1]
    # of a value without error: what the good ones scatter by, not the bad ones
    assert weighed.spread < 0.06
