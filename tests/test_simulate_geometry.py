"""Geometry of neck and string against derived values."""

import numpy as np
import pytest

from buzzscan.simulate.geometry import fret_positions, relief_heights, string_line


def test_fret_positions() -> None:
    # twelfth root of two, L = 647.7 mm
    x = fret_positions(647.7, 22)
    expected = [36.35, 162.47, 215.41, 323.85, 405.09, 465.95]
    np.testing.assert_allclose(x[[1, 5, 7, 12, 17, 22]], expected, atol=0.01)


def test_room_over_level_frets() -> None:
    # derived: h_s = 2·a12 − h_nut = 2.7 mm; room over fret n + k is h_s·(1 − 2^(−k/12)) for all n
    line = string_line(
        scale_mm=647.7,
        frets=22,
        action_12_mm=1.6,
        nut_gap_mm=0.5 + (2.7 - 0.5) * 36.35 / 647.7,
        relief_mm=0.0,
        errors_mm=np.zeros(23),
    )
    assert line.saddle_mm == pytest.approx(2.7, abs=0.001)
    assert line.nut_mm == pytest.approx(0.5, abs=0.001)
    for fret in (1, 5, 10):
        ahead, room = line.clearances(fret)
        by_distance = dict(zip((ahead - fret).tolist(), room.tolist(), strict=True))
        for k, mm in ((1, 0.1515), (2, 0.2946), (3, 0.4296), (12, 1.350)):
            assert by_distance[k] == pytest.approx(mm, abs=0.0002)


def test_relief_is_what_a_straightedge_on_first_and_last_fret_shows() -> None:
    x = fret_positions(647.7, 22)
    z = relief_heights(x, 0.25)
    assert z[1] == pytest.approx(0.0)
    assert z[22] == pytest.approx(0.0)
    assert z.min() == pytest.approx(-0.25, abs=0.01)


def test_string_rests_on_a_fret_that_stands_above_its_line() -> None:
    errors = np.zeros(23)
    errors[9] = 0.5
    line = string_line(
        scale_mm=647.7, frets=22, action_12_mm=1.6, nut_gap_mm=0.4, relief_mm=0.1, errors_mm=errors
    )
    assert line.sounding_fret(8)[0] == 9
    assert line.sounding_fret(9) == (9, 0.0)
    assert line.sounding_fret(3) == (3, 0.0)


def test_a_neck_of_one_fret_has_no_bow() -> None:
    np.testing.assert_array_equal(relief_heights(fret_positions(350.0, 1), 0.3), [0.0, 0.0])
