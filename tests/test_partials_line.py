"""The line through the partials: what counts as near, and where the first partial may lie."""

from __future__ import annotations

import numpy as np

from buzzscan.partials.line import Line, PitchWindow


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
