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

__all__ = ["Path", "best_path"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

_BEAM = 30.0
"""States costlier than the best by more than this are no longer followed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """A way through the candidates.

    Parameters
    ----------
    cost
        Of all of it.
    rows
        Candidates taken as notes.
    states
        Their states.
    """

    cost: float
    rows: IntArray
    states: IntArray


def best_path(
    evidence: FloatArray,
    take: FloatArray,
    skip: FloatArray,
    start: FloatArray,
    moves: FloatArray,
    states: States,
) -> Path:
    """Return the cheapest path.

    Parameters
    ----------
    evidence
        Shape (candidates, places), nats, 0 at best.
    take, skip
        Cost of taking each candidate as a note or passing it over.
    start, moves
        Costs over states.
    states
        Of the guitar.
    """
    n_states = len(states.string)
    now = np.full(n_states, np.inf)
    nothing = 0.0
    came = np.full((len(evidence), n_states), -2, np.int32)  # −2: passed over, −1: the first
    for i, row in enumerate(evidence):
        emit = np.tile(take[i] - row, 2)
        entry = nothing + start
        came_from = np.full(n_states, -1, np.int32)
        alive = np.flatnonzero(now < now.min() + _BEAM) if np.isfinite(now).any() else None
        if alive is not None:
            near = np.flatnonzero(emit < emit.min() + _BEAM)
            ways = now[alive, None] + moves[np.ix_(alive, near)]
            best = np.argmin(ways, axis=0)
            cost = ways[best, np.arange(len(near))]
            better = cost < entry[near]
            entry[near] = np.where(better, cost, entry[near])
            came_from[near] = np.where(better, alive[best], -1)
        taken = entry + emit
        passed = now + skip[i]
        nothing += skip[i]
        came[i] = np.where(taken < passed, came_from, -2)
        now = np.minimum(taken, passed)
    if nothing <= now.min():
        empty = np.zeros(0, np.intp)
        return Path(cost=float(nothing), rows=empty, states=empty)
    return _trace(came, int(np.argmin(now)), float(now.min()))


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
