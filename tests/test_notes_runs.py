"""What is a run and what is none."""

from __future__ import annotations

import numpy as np
from runs_by_hand import a_string, heard

from buzzscan.guitar import Guitar
from buzzscan.notes.hearing import Heard
from buzzscan.notes.placing import place
from buzzscan.notes.runs import run_fault


def fault(candidates: Heard) -> str:
    return run_fault(candidates, place(candidates, Guitar()), Guitar())


def test_a_run_has_no_fault() -> None:
    assert fault(a_string(45)) == ""


def test_too_few_notes_are_no_run() -> None:
    assert fault(heard([45.0, 46.0, 47.0])) == "notes that fit the neck: 3, need 5"


def test_one_note_over_and_over_is_no_run() -> None:
    assert "places of the neck with a note: 2, need 5" in fault(heard([45.0, 46.0] * 8))


def test_a_scale_is_no_run() -> None:
    scale = np.array([0, 2, 4, 5, 7, 9, 11, 12])
    midi = [48.0 + float(v) for v in scale[np.random.default_rng(4).integers(0, 8, 20)]]
    assert "go fret by fret, or from string to string at one fret, need 70 %" in fault(heard(midi))


def test_pitches_from_nowhere_are_no_run() -> None:
    spread = np.random.default_rng(1).uniform(-0.45, 0.45, 26)
    steps = [*range(13), *range(13)[::-1]]
    assert fault(heard([45.0 + s + float(d) for s, d in zip(steps, spread, strict=True)]))
