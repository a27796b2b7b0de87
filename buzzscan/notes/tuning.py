"""Which tuning a run was played in, when no guitar file says so.

Conventions
-----------
A run along a string starts or turns at its open string or its first fret, so the lowest note of
each chromatic stretch names a string. Tunings are tried by name first, as most instruments are in
one of them; one of the recording's own is built where none fits.

Limits
------
A run across the strings in one position names one string at most: then the usual tuning that
holds all its notes is taken.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import STANDARD_TUNING, Guitar

__all__ = ["frets_reached", "lowest_notes", "note_name", "tuning_guesses", "tuning_nats"]

FloatArray = npt.NDArray[np.float64]

_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_USUAL: tuple[tuple[str, ...], ...] = (
    STANDARD_TUNING,
    ("D2", "A2", "D3", "G3", "B3", "E4"),
    ("D#2", "G#2", "C#3", "F#3", "A#3", "D#4"),
    ("D2", "G2", "C3", "F3", "A3", "D4"),
    ("C2", "G2", "C3", "F3", "A3", "D4"),
    ("D2", "A2", "D3", "F#3", "A3", "D4"),
    ("D2", "G2", "D3", "G3", "B3", "D4"),
    ("D2", "A2", "D3", "G3", "A3", "D4"),
    ("E2", "B2", "E3", "G#3", "B3", "E4"),
    ("E2", "A2", "E3", "A3", "C#4", "E4"),
    ("B1", "E2", "A2", "D3", "F#3", "B3"),
    ("A1", "D2", "G2", "C3", "E3", "A3"),
    ("B1", "E2", "A2", "D3", "G3", "B3", "E4"),
    ("A1", "E2", "A2", "D3", "G3", "B3", "E4"),
    ("F#1", "B1", "E2", "A2", "D3", "G3", "B3", "E4"),
    ("E1", "A1", "D2", "G2"),
    ("D1", "A1", "D2", "G2"),
    ("B0", "E1", "A1", "D2", "G2"),
    ("B0", "E1", "A1", "D2", "G2", "C3"),
)
"""Tunings in common use, the likelier first (common practice, no source)."""

_STRETCH = 2
"""Largest step in semitones inside a chromatic stretch: one fret left out."""
_LEAST_STRETCH = 5
_MANY_FRETS = 24
"""Necks with more are described in a guitar file (common practice, no source)."""
_FRET_ONE = 0.6
"""What a lowest note at the first fret is worth against one at the open string."""
_RANK = 0.04
_UNPLAYED = 0.1
_NOT_STANDARD = 1.0
"""Another tuning must explain a string or two more than the standard one."""
_USUAL_NATS, _OWN_NATS = 8.0, 16.0
"""How much less common a tuning is than the standard one, and one that is in no use. A run that
leaves the first frets of a string out costs the standard tuning up to 7 nats a string, one that is
in another tuning 40 and more (on takes of real notes)."""
_GUITAR_STRINGS, _BASS_STRINGS, _HIGHEST_OF_A_BASS = 6, 4, 52
"""How many strings are usual, and E3, over the highest open one of any bass (common practice)."""
_IDLE_NATS = 10.0
"""Cost of each string more than is usual and than runs begin on: notes whose stiffness is not that
of their string would lie on one that nobody played. Fewer of the usual ones may be recorded, and
any between two on which runs begin."""


def lowest_notes(midi: FloatArray) -> Counter[int]:
    """Return the lowest note of each chromatic stretch, with how often it occurs.

    Parameters
    ----------
    midi
        Heard pitches in order, on the grid of the tuning (offset taken off).
    """
    return Counter(low for low, _ in _stretches(midi))


def _stretches(midi: FloatArray) -> list[tuple[int, int]]:
    """Return the lowest and the highest note of each chromatic stretch."""
    notes = np.round(midi).astype(int)
    steps = np.diff(notes)
    found = []
    start, way = 0, 0
    for i in range(1, len(notes) + 1):
        step = int(steps[i - 1]) if i < len(notes) else 0
        # A run turns by one fret or on the spot; by two it goes on from another string.
        turns = abs(step) == _STRETCH and step * way < 0
        way = step or way
        if i == len(notes) or abs(step) > _STRETCH or turns:
            stretch = notes[start:i]
            if len(stretch) >= _LEAST_STRETCH:
                found.append((int(stretch.min()), int(stretch.max())))
            start = i
    return found


def frets_reached(midi: FloatArray, guitar: Guitar) -> int:
    """Return the highest fret that a chromatic stretch seems to reach, 0 where none does.

    A stretch that begins at a string's open note or first fret is taken for one of that string;
    what is higher than the highest string's is of that one. What reaches further than necks have
    frets is a run across the strings; a shorter one may look like either.

    Parameters
    ----------
    midi
        Heard pitches in order, on the grid of the tuning.
    guitar
        Its strings; how many frets they have is not asked.
    """
    opens = [round(guitar.midi(s, 0)) for s in guitar.strings]
    reached = [0]
    for low, top in _stretches(midi):
        begins = (low - guitar.capo, low - guitar.capo - 1)
        reached.append(top - max(opens))
        reached.extend(top - v for v in opens if v in begins)
    return max(fret for fret in reached if fret <= _MANY_FRETS)


def tuning_guesses(midi: FloatArray, *, count: int = 3) -> tuple[Guitar, ...]:
    """Return likely instruments for the pitches heard, the likeliest first.

    The standard one is always among them where it has all the notes.

    Parameters
    ----------
    midi
        Heard pitches in order, on the grid of the tuning.
    count
        How many to return at most, beside the standard one.
    """
    lows = lowest_notes(midi)
    notes = np.round(midi).astype(int)
    # A few wrongly heard pitches must not stretch the range.
    low, high = (int(v) for v in np.percentile(notes, [2.0, 98.0]))
    scored = []
    for rank, tuning in enumerate(_USUAL):
        opens = [_midi(name) for name in tuning]
        if low < min(opens) or high > max(opens) + _MANY_FRETS:
            continue
        score = sum(
            1.0 if v in opens else _FRET_ONE if v - 1 in opens else -1.0 for v in lows
        ) - _UNPLAYED * sum(v not in lows and v + 1 not in lows for v in opens)
        scored.append((score - _RANK * rank - (_NOT_STANDARD if rank else 0.0), opens))
    own = sorted(lows)
    if len(own) >= 3:
        scored.append((len(own) - _RANK * len(_USUAL) - _NOT_STANDARD - 0.5, own))
    scored.sort(key=lambda item: -item[0])
    likely = [opens for _, opens in scored[:count]]
    standard = [_midi(name) for name in STANDARD_TUNING]
    if any(opens == standard for _, opens in scored[count:]):
        likely.append(standard)
    return tuple(Guitar(tuning=tuple(map(note_name, opens))) for opens in likely) or (Guitar(),)


def tuning_nats(guitar: Guitar, midi: FloatArray) -> float:
    """Return by how many nats a tuning is less likely than a standard one that has all its runs.

    Parameters
    ----------
    guitar
        The instrument.
    midi
        Heard pitches in order, on the grid of the tuning.
    """
    lows = lowest_notes(midi)
    opens = [round(guitar.midi(s, 0)) for s in guitar.strings]
    outer = all(v in lows or v + 1 in lows for v in (min(opens), max(opens)))
    usual = _GUITAR_STRINGS if guitar.midi(1, 0) > _HIGHEST_OF_A_BASS else _BASS_STRINGS
    runs = max(len(lows), usual)
    idle = 0.0 if outer else _IDLE_NATS * max(guitar.n_strings - runs, 0)
    if guitar.tuning == STANDARD_TUNING:
        return idle
    return idle + (_USUAL_NATS if guitar.tuning in _USUAL else _OWN_NATS)


def note_name(midi: int) -> str:
    """Return the name of a MIDI note, with sharps: 40 is E2."""
    return f"{_NAMES[midi % 12]}{midi // 12 - 1}"


def _midi(name: str) -> int:
    letters = name.rstrip("0123456789")
    return _NAMES.index(letters) + 12 * (int(name[len(letters) :]) + 1)
