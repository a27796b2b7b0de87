"""How a run goes on: what each move from one place on the neck to the next costs.

Conventions
-----------
Costs are negative logarithms of odds against the run simply going on; 0 is what a run does at
nearly every note, about 3 what a player does a few times in a run (turns, leaves a fret out,
picks twice), 6 and more what is nearly never meant. Arrays run over the states of `States`.

Limits
------
The costs are the trade's habits put in numbers (common practice, no source). They only decide
between places that sound alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar

__all__ = ["STYLES", "States", "Style", "move_costs", "start_costs", "states_of"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
Style = Literal["along", "position", "across"]

STYLES: tuple[Style, ...] = ("along", "position", "across")
"""Along each string; over the strings within a hand's reach; one fret over all strings."""

_AGAIN, _CORRECT, _TURN = 3.0, 2.8, 3.0
_LEAP_SAME = {2: 3.2, 3: 4.2}
_LEAP_SAME_FAR = 5.0
_RESTART = 4.5
_FIRST_FRET = 0.7
"""A run starts at the open string rather than at the first fret."""
_UNFINISHED = 2.0
"""Leaving a string halfway through its run."""
_OCTAVE = 12
"""A run that has come this far up its string has been to its end: many turn at the octave."""
_HAND = 5
"""Frets a hand reaches without moving."""


@dataclass(frozen=True, slots=True, kw_only=True)
class States:
    """Places on the neck, each twice: on the way up and on the way down.

    Parameters
    ----------
    string, fret, direction
        Per state; direction is +1 or −1. The second half repeats the first, downwards.
    pitch
        Nominal MIDI pitch per state.
    top
        Highest fret.
    lowest
        Lowest fret that sounds.
    """

    string: IntArray
    fret: IntArray
    direction: IntArray
    pitch: FloatArray
    top: int
    lowest: int

    @property
    def high(self) -> int:
        """Fret from which a string is played to its end: an octave up, or where the neck ends."""
        return min(self.top, self.lowest + _OCTAVE)


def states_of(guitar: Guitar) -> States:
    """Return all states of a guitar."""
    places = [(s, f) for s in guitar.strings for f in range(guitar.capo, guitar.frets + 1)]
    string = np.array([s for s, _ in places] * 2, np.intp)
    fret = np.array([f for _, f in places] * 2, np.intp)
    open_pitch = {s: guitar.midi(s, 0) for s in guitar.strings}
    pitch = np.array([open_pitch[s] + f for s, f in places] * 2)
    direction = np.repeat(np.array([1, -1], np.intp), len(places))
    return States(
        string=string,
        fret=fret,
        direction=direction,
        pitch=pitch,
        top=guitar.frets,
        lowest=guitar.capo,
    )


def start_costs(states: States, style: Style) -> FloatArray:
    """Return what it costs to begin a run at each state."""
    low = states.fret <= states.lowest + 1
    up = states.direction > 0
    outer = (states.string == states.string.max()) | (states.string == states.string.min())
    if style != "along":
        return np.where(low, 0.0, 1.0) + np.where(outer, 0.0, 2.0) + np.where(up, 0.0, 1.0)
    high = states.fret >= states.high
    return np.where(
        up & low,
        _FIRST_FRET * (states.fret > states.lowest),
        np.where(up, 5.5, np.where(high, 3.5, 7.0)),
    )


def move_costs(states: States, style: Style) -> FloatArray:
    """Return the cost of each move, shape (from, to)."""
    same = states.string[:, None] == states.string[None, :]
    return np.where(same, _along_string(states, style), _over_strings(states, style))


def _along_string(states: States, style: Style) -> FloatArray:
    was, now = states.direction[:, None], states.direction[None, :]
    ahead = (states.fret[None, :] - states.fret[:, None]) * was
    cost = np.full(ahead.shape, _LEAP_SAME_FAR) + 0.1 * np.abs(ahead)
    for leap, value in _LEAP_SAME.items():
        cost = np.where(ahead == leap, value, cost)
    cost = np.where(ahead == 1, 0.0, cost)
    cost = np.where(ahead == 0, _AGAIN, cost)
    cost = np.where(ahead == -1, _CORRECT, np.where(ahead == -2, _CORRECT + 0.5, cost))
    cost = np.where(ahead < -2, _RESTART - 0.05 * ahead, cost)
    turned = was != now
    # Turning is one step back; a run may also pick its last fret twice.
    back = np.where(ahead == -1, _TURN, np.where(ahead == 0, _TURN, 7.0 + 0.1 * np.abs(ahead)))
    back = np.where(ahead == -2, _TURN + 2.5, back)
    cost = np.where(turned, back, cost)
    if style == "position":
        return cost + np.where(ahead == 1, 0.25, 0.0)
    if style == "across":
        return cost + np.where(np.abs(ahead) <= 1, 1.5, 1.0)
    return cost


def _over_strings(states: States, style: Style) -> FloatArray:
    apart = np.abs(states.string[:, None] - states.string[None, :])
    now = states.direction[None, :]
    was = states.direction[:, None]
    fret_to, fret_from = states.fret[None, :], states.fret[:, None]
    far = np.where(apart > 1, 0.8, 0.0)
    low, top = fret_to <= states.lowest + 1, fret_to >= states.high
    begin = np.where(
        (now > 0) & low,
        2.2 + _FIRST_FRET * (fret_to > states.lowest),
        np.where((now < 0) & top, 4.5, np.where(now > 0, 7.0, 8.0)),
    )
    cost = begin + far
    if style == "along":
        finished = np.where(was > 0, fret_from >= states.high, fret_from <= states.lowest + 1)
        cost = cost + np.where(finished, 0.0, _UNFINISHED)
    rise = (states.pitch[None, :] - states.pitch[:, None]) * was
    hand = (np.abs(fret_to - fret_from) <= _HAND) & (apart == 1) & (was == now)
    next_up = (states.string[:, None] - states.string[None, :]) * was == 1
    if style == "position":
        step = np.where((rise > 0.5) & (rise < 2.5), 1.0, np.where(np.abs(rise) < 3.5, 3.0, 5.0))
        return np.where(hand & next_up, np.minimum(cost, step), cost + 1.0)
    cost = np.where(hand & next_up & (rise > 0.5) & (rise < 1.5), np.minimum(cost, 4.5), cost)
    if style == "across":
        level = (fret_to == fret_from) & (apart == 1)
        other = (np.abs(fret_to - fret_from) == 1) & (apart >= 1)
        return np.where(level, 0.3, np.where(other, np.minimum(cost, 2.0), cost))
    return cost
