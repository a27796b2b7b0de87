"""Puts what was heard on the neck: the style of the run, the strings, and the instrument's offset.

Conventions
-----------
Costs are in nats; `Placed` is the cheapest of all ways of playing that were tried.

Limits
------
Offsets are told up to a semitone; more is another tuning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.notes.evidence import place_evidence
from buzzscan.notes.hearing import Heard
from buzzscan.notes.moves import STYLES, States, Style, move_costs, start_costs, states_of
from buzzscan.notes.path import Clues, Path, best_path
from buzzscan.notes.proof import note_odds
from buzzscan.notes.strings import assumed_strings, learnt_strings, string_costs

__all__ = ["Placed", "grid_offset_cents", "place"]

FloatArray = npt.NDArray[np.float64]

_ODDS_NATS = 10.0
"""Nats between a sure note and a sure squeak."""
_ROUNDS: dict[Style, int] = {"along": 3, "position": 8, "across": 3}
"""In position each string has few notes, and what they tell spreads a string a round."""
_HOPELESS = 25.0
"""A way of playing this much costlier than the best so far is not followed further."""
_FAR_OFF_CENTS = 25.0
"""From here on, the instrument may as well be a semitone's rest off the other way."""
_OFFSET_CENTS_PER_NAT = 25.0
_HAND, _OUT_OF_REACH = 4, 1.0
"""A run in position stays within five frets; nats for each note outside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """What was heard, on the neck.

    Parameters
    ----------
    path, states, style
        The way over the neck, and how it was played.
    evidence
        Shape (candidates, places), as the last round saw it.
    moves
        Costs of the style.
    cost
        Of all of it.
    offset_cents
        Of the instrument as a whole.
    """

    path: Path
    states: States
    style: Style
    evidence: FloatArray
    moves: FloatArray
    cost: float
    offset_cents: float

    def usual_on_string(self, values: npt.NDArray[np.floating]) -> FloatArray:
        """Return the median over the notes of its string, for each note of the path."""
        strings, own = np.unique(self.states.string[self.path.states], return_inverse=True)
        return np.array([np.median(values[own == k]) for k in range(len(strings))])[own]


def grid_offset_cents(heard: Heard, a4_hz: float, fraction: float = 0.0) -> float:
    """Return how far the pitches heard lie from the semitone grid, −50 to 50 cents.

    Parameters
    ----------
    heard
        Candidates.
    a4_hz
        Frequency of A4.
    fraction
        Semitones by which the tuning itself lies off the grid.
    """
    odds = note_odds(heard)
    midi = 69.0 + 12.0 * np.log2(heard.pitch_hz / a4_hz) - fraction
    turn = np.sum(odds * np.exp(2j * np.pi * midi))
    return float(100.0 * np.angle(turn) / (2.0 * np.pi))


def place(heard: Heard, guitar: Guitar) -> Placed:
    """Return the cheapest way over the neck.

    Parameters
    ----------
    heard
        Candidates, at least one.
    guitar
        The instrument.
    """
    opens = np.array([guitar.midi(s, 0) for s in guitar.strings])
    fraction = float(np.angle(np.exp(2j * np.pi * opens).sum()) / (2.0 * np.pi))
    offset = grid_offset_cents(heard, guitar.a4_hz, fraction)
    best = _place_at(heard, guitar, offset, np.inf)
    if abs(offset) > _FAR_OFF_CENTS:
        other = _place_at(heard, guitar, offset - np.sign(offset) * 100.0, best.cost)
        best = min(best, other, key=lambda placed: placed.cost)
    return best


def _place_at(heard: Heard, guitar: Guitar, offset_cents: float, bar: float) -> Placed:
    """Return the cheapest way over the neck for one offset."""
    best: Placed | None = None
    for style in STYLES:
        placed = _place_in_style(heard, guitar, offset_cents, style, bar=bar)
        if best is None or placed.cost < best.cost:
            best = placed
        bar = min(bar, best.cost)
    if best is None:
        raise ValueError("no style of playing to try")
    return best


def _place_in_style(
    heard: Heard, guitar: Guitar, offset_cents: float, style: Style, *, bar: float
) -> Placed:
    """Return the cheapest way over the neck for one style, learning the strings on the way."""
    states, odds = states_of(guitar), note_odds(heard)
    moves, start = move_costs(states, style), start_costs(states, style)
    strings = assumed = assumed_strings(guitar, offset_cents)
    best: Placed | None = None
    before: npt.NDArray[np.intp] | None = None
    for k in range(_ROUNDS[style]):
        evidence = place_evidence(heard, states, strings, guitar.a4_hz)
        if style == "position" and before is not None:
            evidence -= _reach_costs(states, before, evidence.shape[1])
        path = best_path(_clues(heard, evidence, odds), states, start, moves)
        at = path.states
        strings = learnt_strings(
            heard, guitar, path.rows, states.string[at], states.fret[at], offset_cents=offset_cents
        )
        cost = path.cost + string_costs(strings, assumed, states.string[at])
        cost += abs(offset_cents) / _OFFSET_CENTS_PER_NAT
        # The first round knows nothing of the strings: its cost does not compare with later ones.
        if best is None or k == 1 or cost < best.cost:
            best = Placed(
                path=path,
                states=states,
                style=style,
                evidence=evidence,
                moves=moves,
                cost=cost,
                offset_cents=_offset(heard, guitar, path, states, offset_cents),
            )
        if cost > bar + _HOPELESS or (k > 0 and before is not None and np.array_equal(at, before)):
            break
        before = at
    if best is None:
        raise ValueError("no round of learning to try")
    return best


def _clues(heard: Heard, evidence: FloatArray, odds: FloatArray) -> Clues:
    return Clues(
        evidence=evidence,
        take=_ODDS_NATS * (1.0 - odds),
        skip=_ODDS_NATS * odds,
        ln_b=np.log(heard.b),
        ln_b_sd=np.minimum(heard.b_sd / heard.b, 3.0),
    )


def _reach_costs(states: States, path_states: npt.NDArray[np.intp], n: int) -> FloatArray:
    """Return what each place costs that the hand does not reach from where it mostly was."""
    fret = states.fret[path_states]
    lows = np.arange(states.lowest, max(states.top - _HAND, states.lowest) + 1)
    inside = [int(((fret >= low) & (fret <= low + _HAND)).sum()) for low in lows]
    low = int(lows[int(np.argmax(inside))])
    frets = states.fret[:n]
    return np.where((frets < low) | (frets > low + _HAND), _OUT_OF_REACH, 0.0)


def _offset(heard: Heard, guitar: Guitar, path: Path, states: States, near_cents: float) -> float:
    """Return the median offset of the placed notes, in cents."""
    if not len(path.rows):
        return near_cents
    midi = 69.0 + 12.0 * np.log2(heard.pitch_hz[path.rows] / guitar.a4_hz)
    off = 100.0 * (midi - states.pitch[path.states])
    off = off[np.abs(off - near_cents) < 60.0]
    return float(np.median(off)) if len(off) else near_cents
