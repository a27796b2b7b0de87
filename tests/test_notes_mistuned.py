"""A guitar file whose tuning the notes contradict."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from runs_by_hand import recording, run

from buzzscan.guitar import Guitar
from buzzscan.notes import find_notes
from buzzscan.notes.mistuned import retuned

OPEN_D = ("D2", "A2", "D3", "G3", "A3", "D4")
FRETS = tuple(range(8))


def pitches(*opens: int) -> np.ndarray:
    return np.array([float(v + f) for v in opens for f in (*FRETS, *FRETS[::-1])])


def test_strings_are_moved_to_where_their_runs_begin() -> None:
    other = retuned(pitches(38, 45, 50, 55, 57, 62), Guitar())
    assert other is not None
    assert other.tuning == OPEN_D


@pytest.mark.parametrize("shift", [0, 1])
def test_runs_from_the_open_string_or_the_first_fret_move_nothing(shift: int) -> None:
    played = [v + shift for v in (40, 45, 50, 55, 59, 64)]
    assert retuned(pitches(*played), Guitar()) is None


def test_a_capo_moves_nothing() -> None:
    assert retuned(pitches(43, 48, 53), replace(Guitar(), capo=3)) is None


def test_the_wrong_strings_are_named_with_how_far_and_what_next() -> None:
    take = run(open_midi=(38, 45, 50), frets=FRETS)
    (remark,) = find_notes([recording(take)], Guitar()).remarks
    assert "string 6 (E2 in the guitar file) sounds 2 semitones lower" in remark
    assert "string 5" not in remark
    assert "Correct the tuning in the guitar file" in remark


def test_a_string_that_is_too_high_is_named() -> None:
    take = run(open_midi=(40, 45, 50), frets=FRETS)
    guitar = Guitar(tuning=OPEN_D)
    (remark,) = find_notes([recording(take)], guitar).remarks
    assert "string 6 (D2 in the guitar file) sounds 2 semitones higher" in remark


@pytest.mark.parametrize("opens", [(40, 45), (55, 59, 64)])
def test_the_right_tuning_is_not_doubted(opens: tuple[float, ...]) -> None:
    assert find_notes([recording(run(open_midi=opens, frets=FRETS))], Guitar()).remarks == ()


def test_a_list_from_the_thinnest_string_is_told() -> None:
    guitar = Guitar(tuning=("E4", "B3", "G3", "D3", "A2", "E2"))
    (remark,) = find_notes([recording(run(open_midi=(45,)))], guitar).remarks
    assert "from E4 down to E2: list it thickest string first" in remark
