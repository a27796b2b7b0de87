"""The most likely way over the neck through all candidates.

Conventions
-----------
A path takes each candidate as a note at a place or passes it over. Costs add; lower is likelier.

Limits
------
One player, one note at a time, one recording after the other.

References
----------
Viterbi, "Error bounds for convolutional codes", IEEE Trans. Inf. Theory 13 (1967).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.notes.moves import States
from buzzscan.notes.strings import LN_B_PER_FRET

__all__ = ["Clues", "Path", "best_path", "path_cost"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

_STEP_SD = 0.2
"""Spread of ln B from fret to fret of one string beyond the error of its measurement."""
_STEP_CAP, _ANY_STEP = 3.0, 1.0
"""Nats: the most one odd step costs; and how much less likely any step is than the one expected."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """A way through the candidates.

    Parameters
    ----------
    cost
        Of all of it, by the clues that it was found by.
    rows
        Candidates taken as notes.
    states
        Their states.
    """

    cost: float
    rows: IntArray
    states: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Clues:
    """What speaks for and against a path, candidate by candidate.

    Parameters
    ----------
    evidence
        Shape (candidates, places), nats, 0 at best.
    take, skip
        Cost of taking each candidate as a note, or of passing it over.
    ln_b, ln_b_sd
        ln B of each candidate and its standard error.
    """

    evidence: FloatArray
    take: FloatArray
    skip: FloatArray
    ln_b: FloatArray
    ln_b_sd: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _AlongStrings:
    """Moves along one string.

    Parameters
    ----------
    states
        From each state, those of its string, shape (states, states of a string).
    ln_b
        Change of ln B that the frets between make, of the same shape.
    """

    states: IntArray
    ln_b: FloatArray

    @classmethod
    def of(cls, states: States) -> _AlongStrings:
        """Return the moves along the strings of a guitar, whose strings have as many frets each."""
        same = np.nonzero(states.string[:, None] == states.string)[1]
        to = same.reshape(len(states.string), -1)
        ln_b = LN_B_PER_FRET * (states.fret[to] - states.fret[:, None])
        return cls(states=to, ln_b=np.asarray(ln_b, np.float64))


def best_path(clues: Clues, states: States, start: FloatArray, moves: FloatArray) -> Path:
    """Return the cheapest path.

    Parameters
    ----------
    clues
        What was heard.
    states
        Of the guitar.
    start, moves
        Costs over states.
    """
    n_states = len(states.string)
    now = np.full(n_states, np.inf)
    last = np.zeros(n_states, np.intp)
    nothing = 0.0
    came = np.full((len(clues.take), n_states), -2, np.int32)  # −2: passed over, −1: the first
    along, every = _AlongStrings.of(states), np.arange(n_states)
    # Any state is reached from any other for this much at most, so that one which is dearer than
    # another by more lies on no cheapest path.
    reach = float(moves.max()) + max(_STEP_CAP, _ANY_STEP)
    for i, row in enumerate(clues.evidence):
        taken = nothing + start
        came_from = np.full(n_states, -1, np.int32)
        if i:
            origins = np.flatnonzero(now <= now.min() + reach)
            ways = _ways(clues, i, now, last=last, moves=moves, along=along, origins=origins)
            best = np.argmin(ways, axis=0)
            cost = ways[best, every]
            better = cost < taken
            taken = np.where(better, cost, taken)
            came_from = np.where(better, origins[best], -1).astype(np.int32)
        taken = taken + np.tile(clues.take[i] - row, 2)
        passed = now + clues.skip[i]
        nothing += clues.skip[i]
        took = taken < passed
        came[i] = np.where(took, came_from, -2)
        last[took] = i
        now = np.where(took, taken, passed)
    if nothing <= now.min():
        empty = np.zeros(0, np.intp)
        return Path(cost=float(nothing), rows=empty, states=empty)
    return _trace(came, int(np.argmin(now)), float(now.min()))


def path_cost(
    path: Path, clues: Clues, states: States, start: FloatArray, moves: FloatArray
) -> float:
    """Return what a path costs by other clues than those it was found by.

    Parameters
    ----------
    path
        The way through the candidates.
    clues
        What was heard of them.
    states
        Of the guitar.
    start, moves
        Costs over states.
    """
    rows, at = path.rows, path.states
    passed = clues.skip.sum() - clues.skip[rows].sum()
    if not len(rows):
        return float(passed)
    taken = clues.take[rows].sum() - clues.evidence[rows, at % clues.evidence.shape[1]].sum()
    var = _step_var(clues.ln_b_sd[rows[1:]], clues.ln_b_sd[rows[:-1]])
    off = np.diff(clues.ln_b[rows]) - LN_B_PER_FRET * np.diff(states.fret[at])
    same = np.diff(states.string[at]) == 0
    steps = np.where(same, _along_string(off, var), _to_another(var)).sum()
    return float(passed + taken + start[at[0]] + moves[at[:-1], at[1:]].sum() + steps)


def _ways(
    clues: Clues,
    row: int,
    now: FloatArray,
    *,
    last: IntArray,
    moves: FloatArray,
    along: _AlongStrings,
    origins: IntArray,
) -> FloatArray:
    """Return the cost of each way to each state, shape (origins, states).

    Along one string B changes by a known step per fret; from string to string by any.
    """
    before = last[origins]
    var = _step_var(clues.ln_b_sd[row], clues.ln_b_sd[before])
    any_step = _to_another(var)
    ways: FloatArray = moves[origins] + (now[origins] + any_step)[:, None]
    off = (clues.ln_b[row] - clues.ln_b[before])[:, None] - along.ln_b[origins]
    steps = _along_string(off, var[:, None]) - any_step[:, None]
    ways[np.arange(len(origins))[:, None], along.states[origins]] += steps
    return ways


def _step_var(one_sd: FloatArray, other_sd: FloatArray) -> FloatArray:
    """Return the variance of a step of ln B between notes whose ln B has these errors."""
    return np.asarray(one_sd**2 + other_sd**2 + _STEP_SD**2)


def _along_string(off: FloatArray, var: FloatArray) -> FloatArray:
    """Return what a step of ln B costs that is so far off what the frets between make."""
    return np.minimum(np.maximum(0.5 * (off * off / var - 1.0), 0.0), _STEP_CAP)


def _to_another(var: FloatArray) -> FloatArray:
    """Return what any step of ln B costs from string to string."""
    return np.asarray(_ANY_STEP * _STEP_SD**2 / var)


def _trace(came: npt.NDArray[np.int32], state: int, cost: float) -> Path:
    rows, chosen = [], []
    for i in range(len(came) - 1, -1, -1):
        origin = int(came[i, state])
        if origin == -2:
            continue
        rows.append(i)
        chosen.append(state)
        if origin == -1:
            break
        state = origin
    return Path(
        cost=cost,
        rows=np.array(rows[::-1], np.intp),
        states=np.array(chosen[::-1], np.intp),
    )
