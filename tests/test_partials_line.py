"""The line through the partials: what counts as near, and where the first partial may lie."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.partials.line import Line, PitchWindow, partial_ratios


def test_window_holds_what_lies_between_its_edges() -> None:
    window = PitchWindow(100.0, 96.6, 103.5)
    assert bool(window.holds(0.0, 1e-4))
    assert not bool(window.holds(-0.08, 1e-4))
    assert not bool(window.holds(0.08, 1e-4))
    assert list(window.holds(np.array([0.0, 0.2]), 0.0)) == [True, False]


def test_error_of_a_far_partial_grows_with_that_of_the_stiffness() -> None:
    line = Line(
        f0_hz=100.0,
        b=1e-4,
        var_f=1e-8,
        cov=0.0,
        var_b=1e-12,
        weights=np.zeros(0),
        scatter=0.0,
    )
    error = line.error_ratio(np.array([1, 20]))
    # Half of sqrt(var_f + n⁴·var_b), as f is the root of f0²(1 + B·n²).
    assert np.allclose(error, 0.5 * np.sqrt(1e-8 + np.array([1.0, 20.0]) ** 4 * 1e-12))
    assert np.allclose(line.at(np.array([2])), 200.0 * np.sqrt(1.0004))


@pytest.mark.parametrize(("b", "partial"), [(1.2246e-3, 10), (3.4017e-3, 6)])
def test_partials_stretch_as_published(b: float, partial: int) -> None:
    # Kemp, SN Applied Sciences 2:636 (2020): +100 cents over n·f0; the first is itself over f0
    over_f0 = partial_ratios(np.array([partial]), b)[0] * np.sqrt(1.0 + b)
    assert 1200.0 * np.log2(over_f0) == pytest.approx(100.0, abs=0.1)
    assert partial_ratios(np.array([1]), b)[0] == 1.0
