"""The cheapest way through candidates."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.notes.moves import move_costs, start_costs, states_of
from buzzscan.notes.path import Clues, Path, best_path, path_cost
from buzzscan.notes.strings import LN_B_PER_FRET

GUITAR = Guitar(tuning=("E2", "A2"), frets=3)
STATES = states_of(GUITAR)
MOVES, START = move_costs(STATES, "along"), start_costs(STATES, "along")
N = len(STATES.string) // 2


def clues(evidence: np.ndarray, take: list[float], skip: list[float], sd: float = 9.0) -> Clues:
    n = len(evidence)
    return Clues(
        evidence=evidence,
        take=np.array(take),
        skip=np.array(skip),
        ln_b=np.arange(n) * LN_B_PER_FRET,
        ln_b_sd=np.full(n, sd),
    )


def way(path: Path) -> list[tuple[int, int]]:
    return [(int(STATES.string[s]), int(STATES.fret[s])) for s in path.states]


@pytest.mark.parametrize("times", [1.0, 3.0, 8.0])
def test_it_is_as_cheap_as_the_best_of_all_ways(times: float) -> None:
    """Every way through four candidates is tried; B says next to nothing here.

    What was heard says from less than a move costs to far more, so that states far from the
    cheapest, which are no longer followed, are there.
    """
    rng = np.random.default_rng(5)
    evidence = -rng.uniform(0.0, 6.0 * times, (4, N))
    take, skip = rng.uniform(-2.0, 2.0, 4), rng.uniform(0.0, 4.0 * times, 4)
    path = best_path(clues(evidence, list(take), list(skip), sd=1e6), STATES, START, MOVES)

    def cost(states: tuple[int, ...]) -> float:
        total, last = 0.0, -1
        for i, state in enumerate(states):
            if state < 0:
                total += skip[i]
                continue
            move = START[state] if last < 0 else MOVES[last, state]
            total += take[i] - evidence[i, state % N] + move
            last = state
        return float(total)

    cheapest = min(cost(states) for states in product(range(-1, 2 * N), repeat=4))
    # B of unknown error still says that much less than 1e-9 nats.
    assert path.cost == pytest.approx(cheapest, abs=1e-9)


def test_what_costs_more_to_take_is_passed_over() -> None:
    evidence = np.full((3, N), -9.0)
    for row, fret in enumerate((0, 1, 2)):
        evidence[row, (STATES.string[:N] == 2) & (STATES.fret[:N] == fret)] = 0.0
    path = best_path(clues(evidence, [0.0, 30.0, 0.0], [10.0, 0.0, 10.0]), STATES, START, MOVES)
    assert path.rows.tolist() == [0, 2]
    assert way(path) == [(2, 0), (2, 2)]


def test_nothing_may_be_taken_at_all() -> None:
    path = best_path(clues(np.zeros((2, N)), [9.0, 9.0], [0.0, 0.0]), STATES, START, MOVES)
    assert len(path.rows) == 0
    assert path.cost == 0.0


def test_b_that_grows_as_on_one_string_keeps_to_it() -> None:
    """Both strings fit the pitches alike; B grows by a fret each time."""
    evidence = np.full((3, N), -9.0)
    for row, fret in enumerate((1, 2, 3)):
        evidence[row, STATES.fret[:N] == fret] = 0.0
    path = best_path(clues(evidence, [0.0] * 3, [10.0] * 3, sd=0.01), STATES, START, MOVES)
    assert len({string for string, _ in way(path)}) == 1
    assert [fret for _, fret in way(path)] == [1, 2, 3]


@pytest.mark.parametrize("seed", range(5))
def test_a_path_costs_what_it_was_found_for(seed: int) -> None:
    rng = np.random.default_rng(seed)
    said = Clues(
        evidence=-rng.uniform(0.0, 6.0, (9, N)),
        take=rng.uniform(-2.0, 2.0, 9),
        skip=rng.uniform(0.0, 4.0, 9),
        ln_b=rng.normal(-9.0, 0.5, 9),
        ln_b_sd=rng.uniform(0.05, 0.5, 9),
    )
    path = best_path(said, STATES, START, MOVES)
    assert path_cost(path, said, STATES, START, MOVES) == pytest.approx(path.cost, abs=1e-9)
    other = Path(cost=0.0, rows=path.rows, states=rng.permutation(path.states))
    assert path_cost(other, said, STATES, START, MOVES) >= path.cost - 1e-9


def test_a_path_of_nothing_costs_what_is_passed_over() -> None:
    empty = np.zeros(0, np.intp)
    nothing = Path(cost=0.0, rows=empty, states=empty)
    said = clues(np.zeros((2, N)), [9.0, 9.0], [1.0, 2.5])
    assert path_cost(nothing, said, STATES, START, MOVES) == 3.5
