"""Whether another tuning than the guitar file's fits what was played plainly better.

Conventions
-----------
Costs are in nats, as in `buzzscan.notes.placing`. The answer is a sentence for the user, empty
where nothing speaks against the file.

Limits
------
A string a semitone too high, played from its open note, is a run from the first fret; a guitar
that is too high on all strings alike is one played from a higher fret. Neither is called wrong.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.notes.hearing import Heard
from buzzscan.notes.placing import Placed, place
from buzzscan.notes.tuning import lowest_notes, note_name

__all__ = ["PLAINLY_NATS", "retuned", "total_cost", "tuning_doubt"]

FloatArray = npt.NDArray[np.float64]

PLAINLY_NATS = 5.0
"""By how much another instrument must fit better: more than leaving out a string's first notes."""
_NEAR_SEMITONES = 5
"""A string is taken to be off by less than the next one lies away."""
_ON_GRID = 0.3
"""Semitones from the grid up to which a tuning is one of notes with names."""


def total_cost(placed: Iterable[Placed | None]) -> float:
    """Return what the ways of all takes over a neck cost, in nats."""
    return sum(p.cost for p in placed if p is not None)


def retuned(midi: FloatArray, guitar: Guitar) -> Guitar | None:
    """Return the guitar with strings moved to where the runs begin, None if they begin as it says.

    Parameters
    ----------
    midi
        Heard pitches in order, on the grid of the tuning.
    guitar
        As the guitar file says.
    """
    opens = [guitar.midi(s, 0) for s in guitar.strings]
    if guitar.capo or any(abs(v - round(v)) > _ON_GRID for v in opens):
        return None
    file = {s: round(v) for s, v in zip(guitar.strings, opens, strict=True)}
    lows = lowest_notes(midi)
    told = {s for s, v in file.items() if v in lows or v + 1 in lows}
    new = dict(file)
    for low in sorted(lows):
        if low in file.values() or low - 1 in file.values():
            continue
        free = [s for s in file if s not in told and abs(file[s] - low) < _NEAR_SEMITONES]
        if free:
            nearest = min(free, key=lambda s: abs(file[s] - low))
            new[nearest] = low
            told.add(nearest)
    if new == file:
        return None
    tuning = tuple(note_name(new[s]) for s in sorted(new, reverse=True))
    return replace(guitar, tuning=tuning, gauges_mm=None)


def tuning_doubt(
    heard: Sequence[Heard], midi: FloatArray, guitar: Guitar, placed: Sequence[Placed | None]
) -> str:
    """Return what speaks against the guitar file's tuning, empty if nothing does.

    Parameters
    ----------
    heard
        Candidates of each recording.
    midi
        Pitches of the sure ones in order, on the grid of the tuning.
    guitar
        As the guitar file says.
    placed
        The recordings' ways over its neck.
    """
    if _falls(guitar):
        return (
            f"the guitar file's tuning goes from {guitar.tuning[0]} down to {guitar.tuning[-1]}: "
            "list it thickest string first, or the strings' numbers are turned round"
        )
    other = retuned(midi, guitar)
    if other is None:
        return ""
    moved = {s: round(other.midi(s, 0) - guitar.midi(s, 0)) for s in guitar.strings}
    off = {s: by for s, by in moved.items() if by}
    if len(off) == guitar.n_strings and len(set(off.values())) == 1 and min(off.values()) > 0:
        return ""
    again = [place(h, other) if len(h.onset) else None for h in heard]
    if total_cost(placed) - total_cost(again) < PLAINLY_NATS:
        return ""
    words = ", ".join(
        f"string {s} ({guitar.tuning[-s]} in the guitar file) sounds "
        f"{abs(by)} semitone{'s' if abs(by) > 1 else ''} {'higher' if by > 0 else 'lower'}"
        for s, by in off.items()
    )
    return (
        f"the tuning looks wrong: {words}; the notes fit {' '.join(other.tuning)} better, so frets "
        "and strings may be misread. Correct the tuning in the guitar file, or tune the guitar "
        "to it, and scan again"
    )


def _falls(guitar: Guitar) -> bool:
    """Return whether every string is lower than the one before in the list."""
    opens = np.array([guitar.midi(s, 0) for s in guitar.strings])
    # Strings are numbered from the end of the list.
    return guitar.n_strings > 1 and bool((np.diff(opens[::-1]) < 0).all())
