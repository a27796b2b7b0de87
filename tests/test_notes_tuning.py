"""Tunings told from the lowest note of each stretch."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.notes.tuning import (
    frets_reached,
    lowest_notes,
    note_name,
    tuning_guesses,
    tuning_nats,
)


def runs(*opens: int, top: int = 12, first: int = 0) -> np.ndarray:
    up = list(range(first, top + 1))
    return np.array([float(v + f) for v in opens for f in (*up, *up[::-1])])


def test_the_lowest_note_of_each_stretch_is_found() -> None:
    assert lowest_notes(runs(40, 45, 50)) == {40: 1, 45: 1, 50: 1}


def test_a_string_a_whole_tone_above_the_last_note_is_another_stretch() -> None:
    assert lowest_notes(runs(55, 57)) == {55: 1, 57: 1}


def test_a_fret_left_out_ends_no_stretch_and_a_few_notes_are_none() -> None:
    midi = np.array([40.0, 41, 43, 44, 45, 46, 70, 71, 60, 61])
    assert lowest_notes(midi) == {40: 1}


@pytest.mark.parametrize(
    ("opens", "tuning"),
    [
        ((40, 45, 50, 55, 59, 64), ("E2", "A2", "D3", "G3", "B3", "E4")),
        ((38, 45, 50, 55, 57, 62), ("D2", "A2", "D3", "G3", "A3", "D4")),
        ((28, 33, 38, 43), ("E1", "A1", "D2", "G2")),
        ((36, 43, 48, 55), ("C2", "G2", "C3", "G3")),
    ],
)
def test_the_likeliest_tuning_comes_first(opens: tuple[int, ...], tuning: tuple[str, ...]) -> None:
    assert tuning_guesses(runs(*opens))[0].tuning == tuning


@pytest.mark.parametrize(
    ("midi", "reached"),
    [
        (runs(40, 64, top=24), 24),  # on every string
        (runs(40, top=23), 23),  # on the thickest alone
        (runs(64, top=24, first=12), 24),  # on the thinnest, half the way
        (runs(45, 64, top=21, first=1), 21),
        (np.array([40.0, 41, 42]), 0),  # no stretch
        (np.arange(40.0, 70.0), 5),  # across the strings, further than any neck
    ],
)
def test_a_stretch_tells_the_highest_fret(midi: np.ndarray, reached: int) -> None:
    assert frets_reached(midi, Guitar()) == reached


def test_a_stretch_begins_at_the_capo() -> None:
    assert frets_reached(runs(40, top=24, first=2), Guitar(capo=2)) == 24


def test_notes_have_names() -> None:
    assert [note_name(v) for v in (28, 40, 61, 69)] == ["E1", "E2", "C#4", "A4"]


def test_a_tuning_has_no_more_strings_than_runs_begin() -> None:
    six = Guitar()
    seven = Guitar(tuning=("B1", *six.tuning))
    played = runs(40, 45, 50, 55, 59, 64)
    assert tuning_nats(six, played) == 0.0
    # ten nats for the string that nobody began, beside what any other tuning than standard costs
    assert tuning_nats(seven, played) == tuning_nats(seven, runs(35, 40, 45, 50, 55, 59, 64)) + 10.0
    # its outer strings alone
    assert tuning_nats(seven, runs(35, 64)) == tuning_nats(seven, runs(35, 40, 45, 50, 55, 59, 64))
    # runs from a higher fret are as many
    assert tuning_nats(six, runs(52, 57, 62, 67, 71, 76)) == 0.0
