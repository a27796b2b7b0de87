"""What the notes say about contact, as arrays for the search for its cause.

Conventions
-----------
Arrays have the shape (strings, frets + 1), string 1 first, fret 0 first. A place with nothing
to say is NaN inside this package and never leaves it.

Limits
------
Two passes over one place share its fret, so they count for less than two independent looks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.measures.contact import log_odds, logistic
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import Place, judged_notes
from buzzscan.neck.verdict import Position, tells_contact

__all__ = ["Evidence", "evidence_of"]

FloatArray = npt.NDArray[np.float64]

_STRIKES = 0.3
"""A note that chokes in its only pass and strikes less than this is stopped by the hand."""
_USUAL_TIMES, _USUAL_BOUNDS = 7.0, (0.018, 0.14)
"""A probability of contact counts for what it says beyond the usual: a few times the middle one of
the take's notes of about that pitch, on all strings, within bounds that a neck which strikes
everywhere does not pass. What a single note is taken for depends on its pitch and on how the take
was recorded (on simulated takes a strike is as likely as not from there)."""
_NEAR_SEMITONES = 3
_PASS_WEIGHT = 0.7
"""Weight of each of several passes' log odds: the square root of a half, rounded."""
_SURELY_STRIKES = 0.5
_TOUCH_BOUNDS = (0.05, 30.0)
"""No pass says more than this for or against a touch in its attack: what a string does in its first
tenths of a second is the player's as much as the neck's."""
_FREE_SHARE, _FREE_ODDS = 0.1, -1.5
"""Share of the attacks of a take that touch nothing, and log odds that free ones have at most (on
simulated takes the lowest tenth lies below, but where strings touch nearly everywhere)."""
_SILENT_ODDS = 3.0
"""Log odds of contact for a pass that had time for a note and gave none. On simulated runs notes
that strike hard are lost a hundred times as often as free ones; a player may also rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Contact over the neck.

    Parameters
    ----------
    contact
        Probability of contact with even odds to begin with; NaN where nothing was judged.
    struck
        Whether the verdict on the place is that it buzzes.
    choked
        Whether the note chokes, with or without a pitch of its own.
    touched
        Log odds, from even ones, that the string touches a fret within its attack; 0 where that is
        not known.
    """

    contact: FloatArray
    struck: npt.NDArray[np.bool_]
    choked: npt.NDArray[np.bool_]
    touched: FloatArray


def _usual_odds(guitar: Guitar, notes: Iterable[MeasuredNote]) -> FloatArray:
    """Return the log odds of contact beyond which a note speaks for a strike, by pitch.

    Returns
    -------
    array of shape (highest MIDI number + 1,)
    """
    heard = [(guitar.midi(n.note.string, n.note.fret), n.contact or 0.0) for n in notes]
    pitch, contact = np.array(heard, np.float64).reshape(-1, 2).T
    highest = max(guitar.midi(s, guitar.frets) for s in guitar.strings)
    middle = [
        np.median(near) if (near := contact[np.abs(pitch - p) <= _NEAR_SEMITONES]).size else 0.0
        for p in range(int(np.ceil(highest)) + 1)
    ]
    return log_odds(np.clip(_USUAL_TIMES * np.array(middle), *_USUAL_BOUNDS))


def _pooled(notes: Sequence[MeasuredNote], usual: float, silent: int) -> float:
    values = [n.contact for n in judged_notes(notes) if n.contact is not None]
    passes = len(values) + silent
    if passes == 0:
        return np.nan
    weight = 1.0 if passes == 1 else _PASS_WEIGHT
    odds = log_odds(np.clip(values, 1e-3, 1.0 - 1e-3))
    beyond = float((odds - usual).sum()) + silent * _SILENT_ODDS
    return float(logistic(np.array(weight * beyond)))


def _touch_odds(notes: Iterable[MeasuredNote]) -> FloatArray:
    """Return the log odds of a touch, from even ones, of notes that tell."""
    told = [n.attack_contact for n in judged_notes(notes) if n.attack_contact is not None]
    return log_odds(np.clip(told, 1e-6, 1.0 - 1e-6))


class _Touches(NamedTuple):
    """What attacks are worth in a take.

    Parameters
    ----------
    usual
        Log odds that its attacks have anyway.
    heard
        Share of touches that it lets hear.
    """

    usual: float
    heard: float

    def log_odds(self, notes: Sequence[MeasuredNote]) -> float:
        """Return the log odds that the passes over a place touch a fret in their attacks."""
        ratios = 1.0 + self.heard * (_touch_ratios(notes, self.usual) - 1.0)
        weight = 1.0 if ratios.size == 1 else _PASS_WEIGHT
        return float(weight * np.log(ratios).sum())


def _touch_ratios(notes: Iterable[MeasuredNote], usual: float) -> FloatArray:
    """Return how much likelier each attack is with a touch than without, of notes that tell."""
    return np.clip(np.exp(_touch_odds(notes) - usual), *_TOUCH_BOUNDS)


def _touches(notes: Sequence[MeasuredNote]) -> _Touches:
    """Return what attacks are worth in a take, by its own.

    A guitar on which every attack looks like a touch, and nothing goes on striking, starts like
    that: its quietest tenth is taken for free. And what goes on striking has touched in its
    attack: where those attacks sound like any other, a clear attack is no sign of a free string.
    """
    odds = _touch_odds(notes)
    usual = max(float(np.quantile(odds, _FREE_SHARE)) - _FREE_ODDS, 0.0) if odds.size else 0.0
    struck = [n for n in notes if n.contact is not None and n.contact >= _SURELY_STRIKES]
    ratios = _touch_ratios(struck, usual)
    shares = np.linspace(0.0, 1.0, 21)
    likely = np.log1p(np.outer(shares, ratios - 1.0)).sum(axis=1)
    weight = np.exp(likely - likely.max())
    return _Touches(usual, float((weight * shares).sum() / weight.sum()))


def evidence_of(
    guitar: Guitar,
    positions: Sequence[Position],
    places: Mapping[Place, Sequence[MeasuredNote]],
    *,
    silent: Mapping[Place, int],
) -> Evidence:
    """Return the contact evidence of all positions as arrays.

    Parameters
    ----------
    silent
        Passes of a place that had time for a note and gave none.
    """
    shape = (guitar.n_strings, guitar.frets + 1)
    contact = np.full(shape, np.nan)
    choked, struck = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)
    touched = np.zeros(shape)
    touches = _touches([n for notes in places.values() for n in notes])
    usual = _usual_odds(
        guitar,
        [n for notes in places.values() for n in judged_notes(notes) if n.contact is not None],
    )
    for position in positions:
        at = position.string - 1, position.fret
        place = position.string, position.fret
        contact[at] = _pooled(
            places.get(place, ()), float(usual[round(guitar.midi(*place))]), silent.get(place, 0)
        )
        touched[at] = touches.log_odds(places.get(place, ()))
        struck[at] = tells_contact(position.buzz)
        if position.buzz == "choked":
            by_hand = len(position.notes) == 1 and (position.contact or 0.0) < _STRIKES
            choked[at] = not by_hand
            contact[at] = np.nan if by_hand else 1.0
    return Evidence(contact=contact, struck=struck, choked=choked, touched=touched)
