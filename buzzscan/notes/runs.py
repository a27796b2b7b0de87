"""Whether what was placed is a run over the neck at all.

Conventions
-----------
`run_fault` returns what is wrong in words, with the value found and the limit; empty for a run.

Limits
------
A melody, talk, strums and noise can be placed on a neck too; only a run goes fret by fret.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.notes.hearing import Heard
from buzzscan.notes.placing import Placed
from buzzscan.notes.proof import note_odds

__all__ = ["run_fault"]

FloatArray = npt.NDArray[np.float64]

_LEAST_NOTES = 5
_STEP_SHARE = 0.7
"""Share of plain steps: a run with many mistakes keeps 0.8; talk and melodies, laid on the neck
as kindly as can be, reach 0.6."""
_PASSED_SHARE = 0.5
"""Of what sounds like picked strings, at most this share may fit no place of the run."""
_SPREAD_CENTS = 18.0
"""Frets hold pitch to a few cents; pitches from nowhere spread over 25 cents either side."""
_SURE_NOTE = 0.6
_STRANGE_CENTS, _STRANGE_SHARE = 150.0, 0.4
"""Off by more than a fret and a half a note is choked or elsewhere; a neck where that goes for so
many is not this one."""


def run_fault(heard: Heard, placed: Placed, guitar: Guitar) -> str:  # noqa: PLR0911 - one a fault
    """Return why what was heard is no run over the neck, empty if it is one.

    Parameters
    ----------
    heard
        Candidates.
    placed
        The way over the neck that fits them best.
    guitar
        The instrument.
    """
    at = placed.path.states
    if len(at) < _LEAST_NOTES:
        return f"notes that fit the neck: {len(at)}, need {_LEAST_NOTES}"
    places = len(np.unique(at % placed.evidence.shape[1]))
    if places < _LEAST_NOTES:
        return f"places of the neck with a note: {places}, need {_LEAST_NOTES}"
    plain, counted = _plain_steps(placed)
    share = float(plain[counted].mean()) if counted.any() else 0.0
    if share < _STEP_SHARE:
        return (
            f"{100 * share:.0f} % of the steps between notes go fret by fret, or from string to "
            f"string at one fret, need {100 * _STEP_SHARE:.0f} %"
        )
    sure = np.flatnonzero(note_odds(heard) > _SURE_NOTE)
    passed = float(np.mean(~np.isin(sure, placed.path.rows))) if len(sure) else 0.0
    if passed > _PASSED_SHARE:
        return f"{100 * passed:.0f} % of what sounds is no part of a run"
    off = placed.off_cents(heard, guitar.a4_hz)
    strange = float(np.mean(np.abs(off) > _STRANGE_CENTS))
    if strange > _STRANGE_SHARE:
        return (
            f"{100 * strange:.0f} % of its notes are not at the pitch of any place on this "
            f"neck, {float(np.median(off)):+.0f} cents in the middle; is it another tuning, "
            "string or guitar?"
        )
    spread = _spread_cents(off, placed)
    if spread > _SPREAD_CENTS:
        return (
            f"pitches lie {spread:.0f} cents from the nearest fret in the middle, "
            f"need {_SPREAD_CENTS:.0f}"
        )
    return ""


def _plain_steps(placed: Placed) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Return which steps are the run's plain next ones, and which count at all."""
    states, at = placed.states, placed.path.states
    string, fret, pitch = states.string[at], states.fret[at], states.pitch[at]
    hop, step = np.diff(string), np.diff(fret)
    if placed.style == "across":
        return (np.abs(hop) == 1) & (step == 0), np.ones(len(hop), np.bool_)
    plain = (hop == 0) & (np.abs(step) == 1)
    again = (hop == 0) & (step == 0)
    # Between strings, a position's next note is the chromatic one or leaves one out.
    beyond = (np.abs(hop) == 1) & (np.abs(np.abs(np.diff(pitch)) - 1.0) < 0.6)
    if placed.style == "position":
        return plain | beyond, ~again
    begins = (hop != 0) & ((fret[1:] <= states.lowest + 1) | (fret[1:] >= states.high))
    return plain | beyond, ~again & ~begins


def _spread_cents(off: FloatArray, placed: Placed) -> float:
    """Return the median distance of the pitches from their frets, string by string."""
    return float(np.median(np.abs(off - placed.usual_on_string(off))))
