"""Fit the numbers of `buzzscan.measures.buzz_energy` to tables of notes, and say how good they are.

Run ``python -m training.fit_energy TABLE.npz... --write ../buzzscan/measures/buzz_numbers.py`` in
tests/, after `training.fit`; without ``--write`` it prints how well buzz is ranked in whole takes
that were held out, and with ``--unseen TABLE...`` in those of a string model that is never fitted.

Conventions
-----------
Fitted to notes in persistent contact: by how much their true level passes the sum of energies.
What is printed is the level as the analysis has it, less where contact is doubted.

Limits
------
The probability of contact is the project's own, which has seen the notes of the tables: a free
string is told a little better there than elsewhere.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.stats import spearmanr
from training.examples import columns_of, cues_of_table
from training.fit import Array, Flags, Table, by_the_others, fold_of, parts, read_tables
from training.tree_text import baseline, tree_lines, write_module

from buzzscan.measures import buzz_numbers
from buzzscan.measures.buzz_energy import doubt_db, free_parts_db, plain_level_db, seen_by_trees
from buzzscan.measures.contact import Place, contact_probabilities

__all__ = ["Struck", "fit_trees", "held_out", "struck_notes", "write_numbers"]

TREES, DEPTH, RATE = 100, 4, 0.1
LEAST_TRUE_DB, MOST_TRUE_DB = -70.0, 10.0
"""Beyond these a level says that nothing is there, or that next to nothing else is."""
WITHIN = (0.5, 99.5)
"""Percentiles of what is learnt that bound it: past them lie single notes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck:
    """Notes in persistent contact of many takes.

    Parameters
    ----------
    columns
        What the trees see, shape (notes, columns).
    plain_db
        Sum of energies, nothing learnt and nothing doubted.
    doubt_db
        What is taken off where contact is less likely than not.
    true_db
        Level of buzz that is true.
    take, kind, model
        Where each is from.
    """

    columns: Array
    plain_db: Array
    doubt_db: Array
    true_db: Array
    take: npt.NDArray[np.int_]
    kind: npt.NDArray[np.str_]
    model: npt.NDArray[np.str_]


def struck_notes(data: Table) -> Struck:
    """Return the struck notes of tables, each beside the clean ones of its take."""
    cues = cues_of_table(data)
    where = np.stack([data[k].astype(int) for k in ("take", "string", "fret")], axis=1)
    places = [Place(*row) for row in where.tolist()]
    contact = contact_probabilities(cues, places, columns_of(data, "figure"))
    free = free_parts_db(cues, places, contact)
    rows = np.flatnonzero((data["struck"] > 0.0) & np.isfinite(data["buzz_db"]))
    mine, free = [cues[i] for i in rows], free[rows]
    return Struck(
        columns=seen_by_trees(mine, free),
        plain_db=plain_level_db(mine, free),
        doubt_db=doubt_db(contact[rows]),
        true_db=np.clip(data["buzz_db"][rows].astype(np.float64), LEAST_TRUE_DB, MOST_TRUE_DB),
        take=where[rows, 0],
        kind=data["kind"][rows],
        model=data["model"][rows],
    )


def fit_trees(notes: Struck, chosen: Flags) -> Any:
    """Return the trees fitted to the chosen notes."""
    from sklearn.ensemble import HistGradientBoostingRegressor

    return HistGradientBoostingRegressor(
        max_iter=TREES,
        learning_rate=RATE,
        max_leaf_nodes=2**DEPTH,
        max_depth=DEPTH,
        l2_regularization=5.0,
        min_samples_leaf=20,
        early_stopping=False,
        random_state=0,
    ).fit(notes.columns[chosen], (notes.true_db - notes.plain_db)[chosen])


def held_out(notes: Struck) -> Array:
    """Return what is learnt for the notes of each take from the others."""
    return by_the_others(
        fold_of(notes.take), lambda chosen: fit_trees(notes, chosen).predict(notes.columns)
    )


def report(notes: Struck, learnt: Array) -> None:
    """Print rank correlation with the truth and bias, before and after, by model and kind."""
    before = notes.plain_db + notes.doubt_db
    after = before + learnt
    print("takes           struck  rank r before  after  bias dB before  after")
    for name, mine in parts(notes.model, notes.kind):
        true = notes.true_db[mine]
        ranks = [float(spearmanr(level[mine], true)[0]) for level in (before, after)]
        # by the middle: a doubted note is off by tens of dB
        bias = [float(np.median(level[mine] - true)) for level in (before, after)]
        print(
            f"{name:14s} {true.size:7d} {ranks[0]:14.3f} {ranks[1]:6.3f} "
            f"{bias[0]:15.1f} {bias[1]:6.1f}"
        )


def write_numbers(path: Path, notes: Struck, trees: Any) -> None:
    """Write `buzz_numbers.py`, with the bounds of what is learnt."""
    least, most = np.percentile(trees.predict(notes.columns), WITHIN)
    lines = [
        f"LEAST_DB = {least:.1f}",
        f"MOST_DB = {most:.1f}",
        '"""Between these lie 99 in 100 notes of the fit."""',
        '_TEXT = """',
        *tree_lines(trees, depth=DEPTH),
        '"""',
        f"TREES = read_trees(_TEXT, start={baseline(trees):.4f})",
        '"""What true buzz passes the sum of energies by, in dB."""',
    ]
    write_module(path, buzz_numbers, lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Fit to tables; print, or write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tables", nargs="+", type=Path)
    parser.add_argument("--unseen", nargs="+", type=Path, default=(), metavar="TABLE")
    parser.add_argument("--write", type=Path)
    asked = parser.parse_args(arguments)
    notes = struck_notes(read_tables(asked.tables))
    report(notes, held_out(notes))
    trees = fit_trees(notes, np.ones(notes.take.size, np.bool_))
    if asked.unseen:
        unseen = struck_notes(read_tables(asked.unseen))
        report(unseen, trees.predict(unseen.columns))
    if asked.write is not None:
        write_numbers(asked.write, notes, trees)


if __name__ == "__main__":
    main()
