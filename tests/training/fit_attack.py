"""Fit the numbers of `buzzscan.measures.attack` to tables of notes, and say how good they are.

Run ``python -m training.fit_attack TABLE.npz... --write ../buzzscan/measures/attack_numbers.py`` in
tests/, after `training.fit`; without ``--write`` it prints how well touches are told in whole takes
that were held out, and with ``--unseen TABLE...`` in those of a string model that is not fitted.

Conventions
-----------
A string touches a fret in its attack when it still does so 5 ms after the onset. What is printed
is of the notes that ring clear after it: whoever goes on striking is told by `contact`. Touched and
free notes weigh the same within every take, so that what is learnt is how much an attack says
beside the other attacks of the take, and not how often strings touch in takes like it.

Limits
------
The same tables give the same numbers with the same version of scikit-learn.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from training.examples import columns_of
from training.fit import Array, Flags, Table, auc, by_the_others, fold_of, parts, read_tables
from training.tree_text import baseline, tree_lines, write_module

from buzzscan.measures import attack_numbers
from buzzscan.measures.attack import Attack, touch_columns
from buzzscan.measures.contact import Place

__all__ = [
    "Attacks",
    "attacks_of",
    "fit_trees",
    "held_out",
    "write_numbers",
]

TREES, DEPTH, RATE = 200, 5, 0.07
TOUCHED_S = 0.005
LEAST_SHARE = 0.08
"""Touched or free notes that make up less of their take than this do not weigh half of it."""
FALSE_ALARMS = (0.03, 0.01)


@dataclass(frozen=True, slots=True, kw_only=True)
class Attacks:
    """Attacks of many takes.

    Parameters
    ----------
    columns
        As `touch_columns` has them, shape (notes, columns).
    touched, brief, free
        Truth: touches in the attack; touches there and rings clear after; touches nothing.
    take, kind, model
        Where each is from.
    """

    columns: Array
    touched: Flags
    brief: Flags
    free: Flags
    take: npt.NDArray[np.int_]
    kind: npt.NDArray[np.str_]
    model: npt.NDArray[np.str_]


def attacks_of(data: Table) -> Attacks:
    """Return the attacks of tables whose strings hold enough notes to compare them with."""
    levels, figures = columns_of(data, "level"), columns_of(data, "figure")
    where = np.stack([data[k].astype(int) for k in ("take", "string", "fret")], axis=1)
    struck, until_s = data["struck"], data["until_s"]
    attacks = list(map(Attack, levels, figures, data["first_partial_hz"].tolist()))
    columns = touch_columns(attacks, [Place(*row) for row in where.tolist()], data["contact"])
    touched, free = until_s > TOUCHED_S, until_s == 0.0
    told = np.isfinite(columns).all(axis=1) & (touched | free)
    return Attacks(
        columns=columns[told],
        touched=touched[told],
        brief=(touched & (struck == 0.0))[told],
        free=free[told],
        take=where[told, 0],
        kind=data["kind"][told],
        model=data["model"][told],
    )


def _weights(attacks: Attacks) -> Array:
    """Return weights by which touched and free notes weigh the same within each take."""
    takes, of = np.unique(attacks.take, return_inverse=True)
    share = np.bincount(of, attacks.touched, takes.size) / np.bincount(of, minlength=takes.size)
    share = np.clip(share, LEAST_SHARE, 1.0 - LEAST_SHARE)[of]
    return np.asarray(np.where(attacks.touched, 0.5 / share, 0.5 / (1.0 - share)))


def fit_trees(attacks: Attacks, chosen: Flags) -> Any:
    """Return the trees fitted to the chosen notes, touched and free weighing the same."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    return HistGradientBoostingClassifier(
        max_iter=TREES,
        learning_rate=RATE,
        max_leaf_nodes=2**DEPTH,
        max_depth=DEPTH,
        l2_regularization=5.0,
        min_samples_leaf=40,
        early_stopping=False,
        random_state=0,
    ).fit(attacks.columns[chosen], attacks.touched[chosen], _weights(attacks)[chosen])


def held_out(attacks: Attacks) -> Array:
    """Return the log odds of a touch for the notes of each take from the others."""
    return by_the_others(
        fold_of(attacks.take),
        lambda chosen: fit_trees(attacks, chosen).decision_function(attacks.columns),
    )


def report(attacks: Attacks, odds: Array) -> None:
    """Print what share of brief touches is found at some shares of false alarms."""
    shares = "".join(f"  found at {100 * share:.0f} %" for share in FALSE_ALARMS)
    print(f"takes           brief    free    AUC{shares}")
    for name, mine in parts(attacks.model, attacks.kind):
        brief, free = odds[mine & attacks.brief], odds[mine & attacks.free]
        if not brief.size or not free.size:
            continue
        found = [float(np.mean(brief > np.quantile(free, 1.0 - share))) for share in FALSE_ALARMS]
        print(
            f"{name:14s} {brief.size:6d} {free.size:7d} {auc(free, brief):6.3f}"
            + "".join(f"{share:13.2f}" for share in found)
        )


def write_numbers(path: Path, trees: Any) -> None:
    """Write `attack_numbers.py`."""
    lines = [
        '_TEXT = """',
        *tree_lines(trees, depth=DEPTH),
        '"""',
        f"TREES = read_trees(_TEXT, start={baseline(trees):.4f})",
        '"""Log odds, from even ones, of a touch in the attack."""',
    ]
    write_module(path, attack_numbers, lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Fit to tables; print, or write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tables", nargs="+", type=Path)
    parser.add_argument("--unseen", nargs="+", type=Path, default=(), metavar="TABLE")
    parser.add_argument("--write", type=Path)
    asked = parser.parse_args(arguments)
    attacks = attacks_of(read_tables(asked.tables))
    report(attacks, held_out(attacks))
    trees = fit_trees(attacks, np.ones(attacks.take.size, np.bool_))
    if asked.unseen:
        unseen = attacks_of(read_tables(asked.unseen))
        report(unseen, trees.decision_function(unseen.columns))
    if asked.write is not None:
        write_numbers(asked.write, trees)


if __name__ == "__main__":
    main()
