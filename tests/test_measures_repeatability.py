"""Gauge studies against published values and worked arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.measures.repeatability import distinct_categories, gauge_study


@pytest.mark.parametrize(("ratio", "ndc"), [(3.55, 5), (3.54, 4), (0.5, 0)])
def test_categories_as_published(ratio: float, ndc: int) -> None:
    """Public summaries of the AIAG manual: PV/GRR 3.55 gives 5 categories, 3.54 gives 4."""
    assert distinct_categories(ratio, 1.0) == ndc


def test_no_spread_has_no_number_of_categories() -> None:
    assert distinct_categories(1.0, 0.0) is None
    study = gauge_study(np.array([[1.0, 1.0], [2.0, 2.0]]))
    assert (study.repeatability, study.ndc, study.grade) == (0.0, None, "good")


def test_study_of_a_table_worked_by_hand() -> None:
    """Rows 1, 3 | 5, 7 | 9, 11: variance within 2; row means 2, 6, 10 have variance 16."""
    study = gauge_study(np.array([[1.0, 3.0], [5.0, 7.0], [9.0, 11.0]]))
    assert study.repeatability == pytest.approx(2.0**0.5)
    assert study.part_variation == pytest.approx((16.0 - 2.0 / 2.0) ** 0.5)
    assert study.grr_percent == pytest.approx(100.0 * (2.0 / 17.0) ** 0.5)
    assert study.ndc == 3  # 1.41 · √15 / √2 = 3.86
    assert study.smallest_real_change == pytest.approx(1.96 * 2.0)
    assert (study.n_parts, study.n_trials, study.grade) == (3, 2, "not fit")


def test_known_spreads_are_found() -> None:
    rng = np.random.default_rng(5)
    parts = rng.normal(0.0, 4.0, (2000, 1))
    study = gauge_study(parts + rng.normal(0.0, 0.3, (2000, 3)))
    assert study.repeatability == pytest.approx(0.3, rel=0.05)  # 4000 degrees of freedom
    assert study.part_variation == pytest.approx(4.0, rel=0.05)
    assert study.grade == "good"


def test_two_takes_differ_by_the_smallest_real_change_in_one_of_twenty() -> None:
    rng = np.random.default_rng(6)
    values = rng.normal(0.0, 0.7, (20000, 2))
    study = gauge_study(values)
    beyond = np.abs(values[:, 0] - values[:, 1]) > study.smallest_real_change
    assert beyond.mean() == pytest.approx(0.05, abs=0.005)


@pytest.mark.parametrize(("percent", "grade"), [(9.0, "good"), (20.0, "conditional")])
def test_grades_are_the_published_bounds(percent: float, grade: str) -> None:
    """AIAG summaries: up to 10 % good, 10 to 30 % conditional, above not fit."""
    share = percent / 100.0
    gap = 2.0 * (1.0 - share**2 + 0.5 * share**2) ** 0.5  # row means apart so that TV is 1
    one, other = np.array([-1.0, 1.0]) * share / 2**0.5
    middle = gap / 2**0.5 / 2.0
    study = gauge_study(
        np.array([[-middle + one, -middle + other], [middle + one, middle + other]])
    )
    assert study.grr_percent == pytest.approx(percent, rel=1e-6)
    assert study.grade == grade


def test_rows_with_gaps_are_left_out() -> None:
    whole = np.array([[1.0, 3.0], [5.0, 7.0], [9.0, 11.0]])
    gappy = np.vstack([whole, [[np.nan, 4.0]]])
    assert gauge_study(gappy) == gauge_study(whole)


@pytest.mark.parametrize("values", [np.zeros((1, 3)), np.zeros((5, 1)), np.full((5, 2), np.nan)])
def test_too_little_is_refused(values: np.ndarray) -> None:
    with pytest.raises(ValueError, match="need 2 of each"):
        gauge_study(values)
