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
from buzzscan.notes.path import Clues, Path, best_path, path_cost
from buzzscan.notes.proof import note_odds
from buzzscan.notes.strings import Strings, assumed_strings, learnt_strings, string_costs

__all__ = ["NEAR_CENTS", "Placed", "grid_offset_cents", "place"]

FloatArray = npt.NDArray[np.float64]

_ODDS_NATS = 10.0
"""Nats between a sure note and a sure squeak."""
_ROUNDS: dict[Style, int] = {"along": 3, "position": 8, "across": 3}
"""In position each string has few notes, and what they tell spreads a string a round."""
_HOPELESS = 25.0
"""A way of playing this much costlier than the best so far is not followed further."""
_FORLORN = 4.0 * _HOPELESS
"""By so much, no better first place of the hand makes up for it."""
NEAR_CENTS = 60.0
"""Notes farther than this from where the take as a whole lies rest on another fret, or were taken
for another string."""
_FAR_OFF_CENTS = 25.0
"""From here on, the instrument may as well be a semitone's rest off the other way."""
_OFFSET_CENTS_PER_NAT = 25.0
_LIKELY, _LOWEST_SHARE = 0.5, 0.03
"""Odds from which a candidate counts for the lowest notes, and how many may lie lower by error."""
_UNKNOWN_LN_B_SD = 3.0
"""Standard error of ln B of a candidate whose partials say nothing of it."""
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
        Shape (candidates, places), by the strings that the path tells of itself.
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

    def off_cents(self, heard: Heard, a4_hz: float) -> FloatArray:
        """Return how far each note of the path sounds from the nominal pitch of its place."""
        return _off_cents(heard, self.path, self.states, a4_hz)


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
    turn = np.sum(odds * np.exp(2j * np.pi * (heard.midi(a4_hz) - fraction)))
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
    tried: list[Placed] = []
    for style in STYLES:
        run = _Run.of(heard, guitar, offset_cents, style)
        for hand in _first_hands(run):
            placed = _cheapest(run, hand, bar=bar)
            tried.append(placed)
            bar = min(bar, placed.cost)
            if placed.cost > bar + _FORLORN:
                break
    return min(tried, key=lambda placed: placed.cost)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """What was heard, taken to be played in one style on an instrument with one offset."""

    heard: Heard
    guitar: Guitar
    offset_cents: float
    style: Style
    states: States
    odds: FloatArray
    start: FloatArray
    moves: FloatArray
    assumed: Strings

    @classmethod
    def of(cls, heard: Heard, guitar: Guitar, offset_cents: float, style: Style) -> _Run:
        """Return it with what its moves cost, and what is assumed of the strings."""
        states = states_of(guitar)
        return cls(
            heard=heard,
            guitar=guitar,
            offset_cents=offset_cents,
            style=style,
            states=states,
            odds=note_odds(heard),
            start=start_costs(states, style),
            moves=move_costs(states, style),
            assumed=assumed_strings(guitar, offset_cents),
        )

    def clues(self, strings: Strings, hand: int | None) -> Clues:
        """Return what speaks for each place when the strings are like this, the hand there."""
        evidence = place_evidence(self.heard, self.states, strings, self.guitar.a4_hz)
        if hand is not None:
            evidence -= _reach_costs(self.states, hand)
        return Clues(
            evidence=evidence,
            take=_ODDS_NATS * (1.0 - self.odds),
            skip=_ODDS_NATS * self.odds,
            ln_b=np.log(self.heard.b),
            ln_b_sd=np.where(
                self.heard.locked,
                _UNKNOWN_LN_B_SD,
                np.minimum(self.heard.b_sd / self.heard.b, _UNKNOWN_LN_B_SD),
            ),
        )

    def learnt(self, path: Path) -> Strings:
        """Return what a path tells of the strings."""
        return learnt_strings(
            self.heard,
            self.guitar,
            path.rows,
            self.states.string[path.states],
            self.states.fret[path.states],
            offset_cents=self.offset_cents,
        )

    def placed(self, path: Path, clues: Clues, strings: Strings) -> Placed:
        """Return a path with its cost, by the strings that it tells of itself."""
        cost = path_cost(path, clues, self.states, self.start, self.moves)
        cost += string_costs(strings, self.assumed, self.states.string[path.states])
        return Placed(
            path=path,
            states=self.states,
            style=self.style,
            evidence=clues.evidence,
            moves=self.moves,
            cost=cost + abs(self.offset_cents) / _OFFSET_CENTS_PER_NAT,
            offset_cents=_offset(self.heard, self.guitar, path, self.states, self.offset_cents),
        )


def _cheapest(run: _Run, hand: int | None, *, bar: float) -> Placed:
    """Return the cheapest way over the neck in one style.

    A path tells of the strings, and they lead to the next path. Each is judged by the strings that
    it tells of itself: two paths may lead to each other, and by the strings of the other one,
    either says only how well that fits.

    Parameters
    ----------
    run
        What was heard, and the style.
    hand
        In position, the lowest fret that the hand is thought to reach before anything was placed;
        None for no thought.
    bar
        The cost of the best way so far; one much dearer is not followed further.
    """
    clues = run.clues(run.assumed, hand)
    judged: list[Placed] = []
    for _ in range(_ROUNDS[run.style]):
        path = best_path(clues, run.states, run.start, run.moves)
        if any(_same(path, one.path) for one in judged):
            break
        strings = run.learnt(path)
        clues = run.clues(strings, _hand_of(run.states, path) if run.style == "position" else None)
        placed = run.placed(path, clues, strings)
        judged.append(placed)
        if placed.cost > bar + _HOPELESS:
            break
    return min(judged, key=lambda placed: placed.cost)


def _same(one: Path, other: Path) -> bool:
    return np.array_equal(one.rows, other.rows) and np.array_equal(one.states, other.states)


def _first_hands(run: _Run) -> list[int | None]:
    """Return where the hand may be before anything was placed: anywhere, or by the lowest notes."""
    if run.style != "position":
        return [None]
    pitch = run.heard.midi(run.guitar.a4_hz) - run.offset_cents / 100.0
    likely = pitch[run.odds > _LIKELY]
    if not len(likely):
        return [None]
    # A note heard an octave too low is no lowest note.
    lowest = float(np.quantile(likely, _LOWEST_SHARE, method="lower"))
    fret = round(lowest - min(run.guitar.midi(s, 0) for s in run.guitar.strings))
    return [None, fret] if fret in _hands(run.states) else [None]


def _hands(states: States) -> range:
    """Return the frets that may be the lowest of a hand."""
    return range(states.lowest, max(states.top - _HAND, states.lowest) + 1)


def _hand_of(states: States, path: Path) -> int:
    """Return the lowest fret of the hand that reaches most of a path."""
    fret = states.fret[path.states]
    inside = [int(((fret >= low) & (fret <= low + _HAND)).sum()) for low in _hands(states)]
    return _hands(states)[int(np.argmax(inside))]


def _reach_costs(states: States, hand: int) -> FloatArray:
    """Return what each place costs that a hand does not reach from its lowest fret."""
    frets = states.fret[: len(states.fret) // 2]
    return np.where((frets < hand) | (frets > hand + _HAND), _OUT_OF_REACH, 0.0)


def _off_cents(heard: Heard, path: Path, states: States, a4_hz: float) -> FloatArray:
    """Return how far each note of a path sounds from the nominal pitch of its place."""
    off = 100.0 * (heard.midi(a4_hz)[path.rows] - states.pitch[path.states])
    return np.asarray(off, np.float64)


def _offset(heard: Heard, guitar: Guitar, path: Path, states: States, near_cents: float) -> float:
    """Return the median offset of the placed notes, in cents."""
    if not len(path.rows):
        return near_cents
    off = _off_cents(heard, path, states, guitar.a4_hz)
    off = off[np.abs(off - near_cents) < NEAR_CENTS]
    return float(np.median(off)) if len(off) else near_cents
