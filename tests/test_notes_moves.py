"""What moves over the neck cost."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.notes.moves import STYLES, States, Style, move_costs, start_costs, states_of

STATES = states_of(Guitar())


def at(string: int, fret: int, direction: int, states: States = STATES) -> int:
    same = (states.string == string) & (states.fret == fret) & (states.direction == direction)
    return int(np.flatnonzero(same)[0])


def cost(style: Style, a: tuple[int, int, int], b: tuple[int, int, int]) -> float:
    return float(move_costs(STATES, style)[at(*a), at(*b)])


def test_each_place_is_there_twice_from_the_capo_up() -> None:
    states = states_of(Guitar(capo=3))
    assert len(states.string) == 2 * 6 * 20
    assert states.fret.min() == states.lowest == 3
    assert states.pitch[at(6, 3, 1, states)] == 43.0


@pytest.mark.parametrize("style", STYLES)
def test_no_move_and_no_start_earns_anything(style: Style) -> None:
    assert move_costs(STATES, style).min() >= 0.0
    assert start_costs(STATES, style).min() >= 0.0


def test_along_a_string_the_next_fret_is_free_and_all_else_is_not() -> None:
    assert cost("along", (5, 4, 1), (5, 5, 1)) == 0.0
    assert cost("along", (5, 5, -1), (5, 4, -1)) == 0.0
    for odd in ((5, 4, 1), (5, 6, 1), (5, 3, 1), (5, 3, -1), (5, 9, 1), (4, 0, 1)):
        assert cost("along", (5, 4, 1), odd) > 2.0


def test_turning_is_likelier_than_leaving_halfway() -> None:
    turn = cost("along", (5, 15, 1), (5, 14, -1))
    assert turn < cost("along", (5, 15, 1), (4, 10, 1))
    # A string that is played to its end is left for the next one's beginning.
    assert cost("along", (5, 0, -1), (4, 0, 1)) < cost("along", (5, 6, -1), (4, 0, 1))


def test_in_position_the_next_string_is_near() -> None:
    step = ((5, 4, 1), (4, 0, 1))
    assert cost("position", *step) < cost("along", *step)


def test_across_the_strings_the_same_fret_is_next() -> None:
    assert cost("across", (5, 4, 1), (4, 4, 1)) < 1.0
    assert cost("across", (5, 4, 1), (4, 4, 1)) < cost("across", (5, 4, 1), (5, 5, 1))


def test_a_run_starts_low_and_upwards() -> None:
    costs = start_costs(STATES, "along")
    assert costs[at(6, 0, 1)] == 0.0
    assert costs[at(6, 0, 1)] < costs[at(6, 1, 1)] < costs[at(6, 22, -1)] < costs[at(6, 7, 1)]
