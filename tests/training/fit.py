"""Fit the numbers of `buzzscan.measures.contact` to tables of notes, and say how good they are.

Run ``python -m training.fit TABLE.npz... --write ../buzzscan/measures/contact_numbers.py`` in
tests/; without ``--write`` it prints how well whole takes are told that were held out, and how well
each string model is by what was learnt from the others.

Conventions
-----------
Notes that strike now and then only are neither clean nor struck: left out of the fit. A model whose
name begins with "real" is a real guitar, one that is not of `training.guitars.MODELS` somebody
else's simulation.

Limits
------
The same tables give the same numbers with the same version of scikit-learn.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from training.examples import columns_of
from training.guitars import MODELS
from training.tree_text import baseline, tree_lines, write_module

from buzzscan.measures import contact_numbers
from buzzscan.measures.contact import (
    CAUTION,
    ROUNDS,
    Place,
    known_figures,
    logistic,
    over_trends,
)
from buzzscan.measures.contact_numbers import ALONE, COMPARED, FIRST_SLOPES, Range
from buzzscan.measures.continuation import N_FIGURES

__all__ = [
    "Model",
    "Notes",
    "Table",
    "auc",
    "by_the_others",
    "fit_model",
    "fold_of",
    "held_out",
    "load",
    "parts",
    "probabilities",
    "read_tables",
    "weights",
    "write_numbers",
]

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Table = dict[str, npt.NDArray[Any]]

N_FIRST = FIRST_SLOPES.size
RISING = ("fresh_db", "fresh_line_db", "fresh_share_db", "fresh_line_held_db", "pair_db")
"""Beginnings of cues that contact can only raise."""
ALSO_RISING = ("pair_line_db", "gap_db")
TREES, DEPTH, RATE = 300, 3, 0.07
STRUCK_WEIGHT = 3.0
RUN_WEIGHT = 2.0
"""Of notes of shorter takes: whole necks have more notes, but are recorded in fewer ways."""
ELSEWHERE_WEIGHT = 1.5
"""Of notes by a simulation that is not ours: they are fewer, and what does not hold for them does
not hold for guitars either."""
REAL, NECK = "real", "neck"
"""How the names of real guitars begin, and how the kinds of takes of whole necks end."""
REAL_NOTES = 4500.0
"""As so many notes weigh those of one real guitar: without them one note in ten of some guitars was
taken for contact."""
UNTOLD_SHARE = 0.5
"""Share of the notes whose figures of the continuation are withheld from the fit, which else leans
on them alone: they tell most where they can be had, and least of a faint buzz under a real note."""
BLUR = np.array([0.1, 0.06, 2.0, 2.0, 2.0])
"""Spread that is added to what the cues are read by (`ALONE`: 10 % of length, a semitone, 2 dB):
else trees know the notes of a real guitar by their exact pitch and length again."""
FOLDS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Notes:
    """Notes of many takes: cues within their ranges, and what is true.

    Parameters
    ----------
    compared, alone
        Shape (notes, cues).
    figures
        Of the continuation, shape (notes, N_FIGURES).
    take, string, fret, kind, model
        Where each is from.
    clean, struck
        Truth; neither where it strikes now and then.
    """

    compared: Array
    alone: Array
    figures: Array
    take: npt.NDArray[np.int_]
    string: npt.NDArray[np.int_]
    fret: npt.NDArray[np.int_]
    kind: npt.NDArray[np.str_]
    model: npt.NDArray[np.str_]
    clean: Flags
    struck: Flags

    @property
    def told(self) -> Flags:
        """Notes that are one or the other."""
        return self.clean | self.struck


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """First look (a line) and second (trees)."""

    slopes: Array
    bias: float
    trees: Any


def read_tables(paths: Sequence[Path]) -> Table:
    """Return the columns of all tables, takes numbered through."""
    tables = [np.load(path) for path in paths]
    data = {name: np.concatenate([t[name] for t in tables]) for name in tables[0].files}
    # two tables may hold other takes of the same number
    table = np.repeat(np.arange(len(tables)), [t["take"].size for t in tables])
    both = np.stack([table, data["take"].astype(int)], axis=1)
    data["take"] = np.unique(both, axis=0, return_inverse=True)[1].ravel()
    return data


def load(paths: Sequence[Path]) -> tuple[Notes, tuple[Range, ...]]:
    """Return the notes of all tables, and `COMPARED` with the means of their clean notes."""
    data = read_tables(paths)
    clean = data["clean"] > 0.0
    means = [round(float(_column(data, r)[clean].mean()), 1) for r in COMPARED]
    ranges = tuple(r._replace(mean=m) for r, m in zip(COMPARED, means, strict=True))
    notes = Notes(
        compared=np.stack([_column(data, r) - r.mean for r in ranges], axis=1),
        alone=np.stack([_column(data, r) for r in ALONE], axis=1),
        figures=known_figures(columns_of(data, "figure")),
        clean=clean,
        struck=data["struck"] > 0.0,
        **{k: data[k].astype(int) for k in ("take", "string", "fret")},
        kind=data["kind"],
        model=data["model"],
    )
    return notes, ranges


def _column(data: Table, r: Range) -> Array:
    value = data[r.cue if r.third is None else f"{r.cue}{r.third}"].astype(np.float64)
    return np.clip(np.log(value + 0.1) if r.logarithm else value, r.low, r.high)


def _columns(notes: Notes, odds: Array) -> Array:
    """Return what the trees see, given how likely contact seems."""
    clean = (1.0 - logistic(odds + CAUTION)) ** 2
    where = np.stack([notes.take, notes.string, notes.fret], axis=1)
    excess = over_trends(notes.compared, [Place(*row) for row in where.tolist()], clean)
    return np.concatenate([notes.compared, notes.alone, excess, notes.figures], axis=1)


def weights(notes: Notes) -> Array:
    """Return how much each note counts."""
    ours, real = np.isin(notes.model, MODELS), np.char.startswith(notes.model, REAL)
    weight = np.where(notes.struck, STRUCK_WEIGHT, 1.0)
    weight[ours & ~np.char.endswith(notes.kind, NECK)] *= RUN_WEIGHT
    weight[~ours & ~real] *= ELSEWHERE_WEIGHT
    for guitar in np.unique(notes.model[real]):
        mine = notes.model == guitar
        weight[mine] = REAL_NOTES / np.count_nonzero(mine)
    return weight


def fit_model(notes: Notes, chosen: Flags) -> Model:
    """Return the model fitted to the chosen notes."""
    from sklearn.ensemble import HistGradientBoostingClassifier
    from sklearn.linear_model import LogisticRegression

    rows = chosen & notes.told
    weight = weights(notes)
    first = notes.compared[:, :N_FIRST]
    scale = first[rows].std(axis=0)
    line = LogisticRegression(C=0.3, max_iter=3000).fit(
        first[rows] / scale, notes.struck[rows], sample_weight=weight[rows]
    )
    slopes, bias = line.coef_[0] / scale, float(line.intercept_[0])
    odds = first @ slopes + bias
    rising = [int(_rises(r)) for r in COMPARED]
    rng = np.random.default_rng(0)
    spread = BLUR * rng.standard_normal(notes.alone.shape)
    untold = rng.random(len(rows)) < UNTOLD_SHARE
    for _ in range(ROUNDS):
        columns = _columns(notes, odds)
        blurred = columns.copy()
        blurred[:, len(COMPARED) : len(COMPARED) + len(ALONE)] += spread
        blurred[untold, -N_FIGURES:] = 0.0
        trees = HistGradientBoostingClassifier(
            max_iter=TREES,
            learning_rate=RATE,
            max_leaf_nodes=2**DEPTH,
            max_depth=DEPTH,
            l2_regularization=5.0,
            min_samples_leaf=30,
            monotonic_cst=[*rising, *[0] * len(ALONE), *rising, *[0] * N_FIGURES],
            early_stopping=False,
            random_state=0,
        ).fit(blurred[rows], notes.struck[rows], sample_weight=weight[rows])
        odds = trees.decision_function(columns)
    return Model(slopes=slopes, bias=bias, trees=trees)


def _rises(r: Range) -> bool:
    return r.cue in {*RISING, *ALSO_RISING} or (r.cue == "late_db" and r.third == 1)


def probabilities(model: Model, notes: Notes) -> Array:
    """Return the probability of contact, as `contact_probabilities` computes it."""
    odds = notes.compared[:, :N_FIRST] @ model.slopes + model.bias
    for _ in range(ROUNDS):
        odds = model.trees.decision_function(_columns(notes, odds))
    return logistic(odds)


def fold_of(take: npt.NDArray[np.int_]) -> npt.NDArray[np.int_]:
    """Return which of `FOLDS` parts each note belongs to, whole takes together."""
    takes, index = np.unique(take, return_inverse=True)
    # at random: the seeds run through string models and kinds of recording in turn
    return np.asarray(np.random.default_rng(0).permutation(takes.size)[index] % FOLDS)


def by_the_others(part: npt.NDArray[Any], told: Callable[[Flags], Array]) -> Array:
    """Return what is told of the notes of each part by what is learnt from the other parts.

    Parameters
    ----------
    part
        Of each note, shape (n,).
    told
        What is told of all notes by what is learnt from the chosen ones.
    """
    out = np.zeros(part.size)
    for one in np.unique(part):
        mine = part == one
        out[mine] = told(~mine)[mine]
    return out


def held_out(notes: Notes, part: npt.NDArray[Any]) -> Array:
    """Return probabilities of the notes of each part by a model fitted to the other parts."""
    return by_the_others(part, lambda chosen: probabilities(fit_model(notes, chosen), notes))


def parts(model: npt.NDArray[np.str_], kind: npt.NDArray[np.str_]) -> list[tuple[str, Flags]]:
    """Return all notes, those of each string model and those of each kind of take, by name."""
    out: list[tuple[str, Flags]] = [("all", np.ones(model.size, np.bool_))]
    out += [(str(m), model == m) for m in np.unique(model)]
    return out + [(str(k), kind == k) for k in np.unique(kind)]


def report(notes: Notes, contact: Array) -> None:
    """Print how well contact is told, by kind of take and model of string."""
    print("takes            clean  struck     AUC  false %  found %")
    for name, mine in parts(notes.model, notes.kind):
        clean, struck = contact[mine & notes.clean], contact[mine & notes.struck]
        area = auc(clean, struck) if clean.size and struck.size else np.nan
        found = 100.0 * float(np.mean(struck > 0.5)) if struck.size else np.nan
        print(
            f"{name:14s} {clean.size:7d} {struck.size:7d} {area:7.4f} "
            f"{100.0 * float(np.mean(clean > 0.5)):8.2f} {found:8.1f}"
        )


def auc(clean: Array, struck: Array) -> float:
    """Return the chance that a struck note is rated over a clean one."""
    below = np.searchsorted(np.sort(clean), struck, "left")
    at_most = np.searchsorted(np.sort(clean), struck, "right")
    return float(np.mean(0.5 * (below + at_most)) / clean.size)


def write_numbers(path: Path, model: Model, ranges: Sequence[Range]) -> None:
    """Write `contact_numbers.py`."""

    def entry(r: Range, mean: float | None) -> str:
        third = "None" if r.third is None else str(r.third)
        last = "" if mean is None else f", {mean:.1f}"
        return f'    Range("{r.cue}", {third}, {r.low:.1f}, {r.high:.1f}, {r.logarithm}{last}),'

    lines = [
        "COMPARED = (",
        *[entry(r, r.mean) for r in ranges],
        ")",
        '"""Cues that are compared with the rest of the take."""',
        "ALONE = (",
        *[entry(r, None) for r in ALONE],
        ")",
        '"""What the cues are to be read by: how long, how high and how far over the noise."""',
        "FIRST_SLOPES = np.array(",
        "    [",
        *[f"        {v:.4f}," for v in model.slopes],
        "    ]",
        ")",
        '"""Log odds per unit of the first cues of `COMPARED`, for the first look."""',
        f"FIRST_BIAS = {model.bias:.4f}",
        '_TEXT = """',
        *tree_lines(model.trees, depth=DEPTH),
        '"""',
        f"TREES = read_trees(_TEXT, start={baseline(model.trees):.4f})",
        '"""What the log odds of the second look add up from."""',
    ]
    write_module(path, contact_numbers, lines)


def main() -> None:
    """Fit to tables; print, or write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tables", nargs="+", type=Path)
    parser.add_argument("--write", type=Path)
    asked = parser.parse_args()
    notes, ranges = load(asked.tables)
    if asked.write is None:
        report(notes, held_out(notes, fold_of(notes.take)))
        print("by what was learnt from the other string models alone:")
        report(notes, held_out(notes, notes.model))
        return
    model = fit_model(notes, np.ones(len(notes.take), np.bool_))
    print("on the very notes it was fitted to:")
    report(notes, probabilities(model, notes))
    write_numbers(asked.write, model, ranges)


if __name__ == "__main__":
    main()
