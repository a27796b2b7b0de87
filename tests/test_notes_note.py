"""The result of the search."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest

from buzzscan.guitar import Guitar
from buzzscan.notes import FoundNotes, Note

NOTE = Note(
    id=1,
    recording=0,
    string=6,
    fret=0,
    direction="up",
    onset_s=0.5,
    end_s=1.0,
    pitch_hz=None,
    placed=0.9,
    judged=True,
    reason="",
)


def test_results_do_not_change() -> None:
    found = FoundNotes(
        notes=(NOTE,), guitar=Guitar(), tuning_found=False, offset_cents=0.0, remarks=()
    )
    with pytest.raises(FrozenInstanceError):
        found.notes[0].fret = 3  # type: ignore[misc]
    assert hash(NOTE) == hash(Note(**{k: getattr(NOTE, k) for k in Note.__slots__}))
