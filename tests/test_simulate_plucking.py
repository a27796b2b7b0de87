"""How a pick meets a string over a neck."""

from dataclasses import replace

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.simulate import Fault, SimGuitar
from buzzscan.simulate.performance import Event
from buzzscan.simulate.plucking import envelope_mm, set_note

LEVEL = SimGuitar.from_guitar(Guitar(), roughness_mm=0.0, axes_deg=0.0)
PICK = Event(
    string=3, fret=8, direction="up", onset_s=0.0, duration_s=0.5,
    amplitude_mm=0.5, angle_deg=45.0, pluck_mm=90.0,
)  # fmt: skip


def _high(mm: float) -> SimGuitar:
    return replace(LEVEL, faults=(Fault(kind="fret", fret=9, amount=mm),))


def test_the_envelope_mirrors_the_pluck() -> None:
    # derived: d'Alembert; plucked 100 mm from the saddle of 400 mm, the string swings farthest
    # 100 mm from the stop on its way back, and half as far halfway to the stop
    got = envelope_mm(
        np.array([50.0, 100.0, 250.0]), length_mm=400.0, pluck_mm=100.0, amplitude_mm=1.0
    )
    np.testing.assert_allclose(got, [0.5, 1.0, 0.5])


def test_frets_that_cannot_be_reached_are_left_out() -> None:
    soft = set_note(LEVEL, replace(PICK, amplitude_mm=0.02))
    hard = set_note(LEVEL, replace(PICK, amplitude_mm=5.0))
    assert soft.frets.size == 0
    assert hard.frets.size == 22 - 8


def test_the_angle_shares_the_pluck_out() -> None:
    pluck = set_note(LEVEL, replace(PICK, angle_deg=30.0)).pluck
    assert pluck.away_mm / pluck.along_mm == pytest.approx(np.tan(np.deg2rad(30.0)))
    slack = LEVEL.strings[0].tension_n / LEVEL.strings[-3].tension_n
    assert pluck.size_mm == pytest.approx(0.5 * slack)


def test_a_pick_towards_the_neck_stops_short_of_the_frets() -> None:
    for amplitude in (0.3, 3.0):
        setting = set_note(LEVEL, replace(PICK, angle_deg=-60.0, amplitude_mm=amplitude))
        assert setting.pluck.away_mm < 0.0
        length = LEVEL.length_mm(3, 8)
        down = -setting.pluck.away_mm * setting.places_mm / (length - 90.0)
        under_pick = setting.places_mm <= length - 90.0
        assert np.all(down[under_pick] < setting.room_mm[under_pick])


def test_a_string_held_down_hard_on_a_higher_fret_stops_there() -> None:
    free, rattling, held = (set_note(_high(mm), PICK) for mm in (0.05, 0.18, 0.5))
    assert (free.stop, free.lift_mm) == (8, 0.0)
    assert (rattling.stop, rattling.rests_on) == (8, 9)
    assert rattling.lift_mm > 0.0
    assert (held.stop, held.lift_mm) == (9, 0.0)
    assert np.all(held.room_mm > 0.0)


def test_a_harder_pick_lifts_the_string_off_the_higher_fret() -> None:
    assert set_note(_high(0.25), PICK).stop == 9
    assert set_note(_high(0.25), replace(PICK, amplitude_mm=4.0)).stop == 8


def test_frets_in_front_of_the_resting_one_count_from_it() -> None:
    # two high frets: the string leaves the farther one
    guitar = replace(
        LEVEL,
        faults=(
            Fault(kind="fret", fret=9, amount=0.4),
            Fault(kind="fret", fret=11, amount=1.2),
        ),
    )
    setting = set_note(guitar, PICK)
    assert setting.stop == 11
    assert np.all(setting.frets > 11)
