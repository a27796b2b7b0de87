"""Notes of a simulated take as a note-finder might hand them on: right, with blurred boundaries."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from buzzscan.notes.note import Note
from buzzscan.simulate import TrueNote


def true_notes(
    truth: Iterable[TrueNote], rng: np.random.Generator, *, off_s: float, pitched: bool = False
) -> list[Note]:
    """Return each true note with onset and end off by up to `off_s`; its pitch if `pitched`."""
    return [
        Note(
            id=i + 1,
            recording=0,
            string=t.string,
            fret=t.fret,
            direction="up",
            onset_s=max(t.onset_s + float(rng.uniform(-off_s, off_s)), 0.0),
            end_s=t.end_s + float(rng.uniform(-off_s, off_s)),
            pitch_hz=t.pitch_hz if pitched else None,
            placed=1.0,
            judged=True,
            reason="",
        )
        for i, t in enumerate(truth)
    ]
