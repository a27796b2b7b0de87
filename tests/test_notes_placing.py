"""Candidates put on the neck."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from runs_by_hand import a_string, heard, hz, open_b

from buzzscan.guitar import Guitar
from buzzscan.notes.placing import Placed, _first_hands, _Run, grid_offset_cents, place

UP_DOWN = [*range(13), *range(13)[::-1]]


def way(placed: Placed) -> list[tuple[int, int]]:
    at = placed.path.states
    return list(
        zip(placed.states.string[at].tolist(), placed.states.fret[at].tolist(), strict=True)
    )


@pytest.mark.parametrize("string", [1, 2, 4, 5, 6])
def test_a_run_along_a_string_lies_on_it(string: int) -> None:
    placed = place(a_string(Guitar().midi(string, 0)), Guitar())
    assert placed.style == "along"
    assert way(placed) == [(string, f) for f in UP_DOWN]


def test_a_string_that_keeps_striking_frets_stays_itself() -> None:
    """Its partials are locked to the strikes: they lie straight, as those of no string do."""
    rattles = np.array([2 <= fret <= 10 for fret in UP_DOWN])
    plain = a_string(45)
    b = np.where(rattles, 2e-6, plain.b)
    b_sd = np.where(rattles, 2e-6, plain.b_sd)
    placed = place(a_string(45, b=b, b_sd=b_sd), Guitar())
    assert way(placed) == [(5, f) for f in UP_DOWN]


def test_a_run_in_position_changes_strings() -> None:
    places = [(6, f) for f in range(5)] + [(5, f) for f in range(5)] + [(4, f) for f in range(5)]
    midi = [Guitar().midi(s, f) for s, f in places]
    b = np.array([open_b(Guitar().midi(s, 0)) * 2.0 ** (f / 6.0) for s, f in places])
    assert way(place(heard(midi, b=b), Guitar())) == places


@pytest.mark.parametrize("low", [0, 2, 5, 9, 18])
@pytest.mark.parametrize("down", [True, False])
def test_the_hand_may_be_where_the_lowest_note_is(low: int, down: bool) -> None:  # noqa: FBT001
    guitar = Guitar()
    up = [guitar.midi(s, low + f) for s in (6, 5, 4, 3, 2, 1) for f in range(5)]
    midi = up + up[-2::-1] if down else up
    run = _Run.of(heard(midi), guitar, 0.0, "position")
    assert _first_hands(run) == [None, low]
    assert _first_hands(_Run.of(heard(midi), guitar, 0.0, "along")) == [None]


@pytest.mark.parametrize("low", [3, 5, 7])
def test_a_run_in_position_up_the_neck_is_found_whatever_the_strings(low: int) -> None:
    """Seven strings none of which is as stiff as assumed, and notes that are unsure of it."""
    guitar = Guitar(tuning=("B1", "E2", "A2", "D3", "G3", "B3", "E4"))
    opens = [guitar.midi(s, 0) for s in range(7, 0, -1)]
    open_ln_b = (-8.1, -9.2, -10.3, -11.4, -9.3, -10.3, -11.2)
    reach = [*(round(b - a) for a, b in pairwise(opens)), 5]
    up = [(7 - i, low + f) for i, n in enumerate(reach) for f in range(n)]
    places = up + up[-2::-1]
    true = np.array([np.exp(open_ln_b[7 - s]) * 2.0 ** (f / 6.0) for s, f in places])
    noise = np.random.default_rng(0).standard_normal(len(true))
    b = np.maximum(true * (1.0 + 0.5 * noise), 0.3 * true)
    midi = [guitar.midi(s, f) for s, f in places]
    assert way(place(heard(midi, b=b, b_sd=0.5 * true), guitar)) == places


@pytest.mark.parametrize("seed", range(6))
def test_a_string_whose_b_is_hardly_told_is_played_once(seed: int) -> None:
    """Thin strings through a dull pickup: B reads too low up the neck, or next to nothing."""
    rng = np.random.default_rng(seed)
    places = [(s, f) for s in (3, 2, 1) for f in UP_DOWN]
    midi = [Guitar().midi(s, f) for s, f in places]
    true = np.array([open_b(Guitar().midi(s, 0)) * 2.0 ** (f / 6.0) for s, f in places])
    error = true * np.array([(0.08, 0.3, 1.2)[3 - s] for s, _ in places])
    b = np.maximum(true + error * rng.standard_normal(len(true)), 0.3 * true)
    assert way(place(heard(midi, b=b, b_sd=error), Guitar())) == places


def test_a_run_across_the_strings_keeps_its_fret() -> None:
    places = [(s, f) for f in range(4) for s in (6, 5, 4, 3, 2, 1)]
    midi = [Guitar().midi(s, f) for s, f in places]
    b = np.array([open_b(Guitar().midi(s, 0)) * 2.0 ** (f / 6.0) for s, f in places])
    placed = place(heard(midi, b=b), Guitar())
    assert placed.style == "across"
    assert way(placed) == places


def test_one_bad_fit_moves_no_other_note() -> None:
    """A note in the middle has a B of ten times too much, and lies 30 cents flat."""
    b = open_b(45) * 2.0 ** (np.array(UP_DOWN) / 6.0)
    pitch_hz = np.array([hz(45.0 + f) for f in UP_DOWN])
    b[8] *= 10.0
    pitch_hz[8] *= 2.0 ** (-30.0 / 1200.0)
    placed = way(place(a_string(45, b=b, pitch_hz=pitch_hz), Guitar()))
    for row in (*range(8), *range(9, 26)):
        assert (5, UP_DOWN[row]) in placed
    assert {string for string, _ in placed} == {5}


@pytest.mark.parametrize("cents", [-40.0, 0.0, 30.0])
def test_the_offset_of_the_instrument_is_told(cents: float) -> None:
    candidates = a_string(45.0 + cents / 100.0)
    assert grid_offset_cents(candidates, 440.0) == pytest.approx(cents, abs=0.1)
    assert place(candidates, Guitar()).offset_cents == pytest.approx(cents, abs=0.1)


def test_more_than_half_a_semitone_sharp_is_no_other_fret() -> None:
    placed = place(a_string(45.55), Guitar())
    assert placed.offset_cents == pytest.approx(55.0, abs=0.1)
    assert way(placed)[0] == (5, 0)
