"""Fit the numbers of `buzzscan.measures.attack` to drawn takes, and say how good they are.

Run ``python -m training.fit_attack TABLE.npz --seeds 0 700`` in tests/ for a table of the takes of
those seeds (``--model waveguide`` for travelling waves), then ``python -m training.fit_attack
TABLE.npz... --write ../buzzscan/measures/attack_numbers.py``; without ``--write`` it prints how
well touches are told in whole takes that were held out, and with ``--unseen TABLE...`` in those of
a string model that is never fitted.

Conventions
-----------
A string touches a fret in its attack when it still does so 5 ms after the onset. What is printed
is of the notes that ring clear after it: whoever goes on striking is told by `contact`.

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
from training.examples import goes_on_striking, table
from training.fit import FOLDS, Array, Flags, Table, auc, fold_of, parts, read_tables
from training.guitars import MODELS, RATE_HZ, draw
from training.tree_text import baseline, tree_lines, write_module

from buzzscan.measures import attack_numbers
from buzzscan.measures.attack import attack_excess, attack_levels_db
from buzzscan.measures.contact import Place

__all__ = ["Attacks", "attacks_of", "fit_trees", "held_out", "rows_of_seed", "write_numbers"]

TREES, DEPTH, RATE = 200, 5, 0.07
TOUCHED_S = 0.005
ONSET_SD_S = 0.0015
"""Scatter of the onsets that the analysis finds."""
FALSE_ALARMS = (0.03, 0.01)


@dataclass(frozen=True, slots=True, kw_only=True)
class Attacks:
    """Attacks of many takes.

    Parameters
    ----------
    excess_db
        As `attack_excess` has them, shape (notes, levels).
    touched, brief, free
        Truth: touches in the attack; touches there and rings clear after; touches nothing.
    take, kind, model
        Where each is from.
    """

    excess_db: Array
    touched: Flags
    brief: Flags
    free: Flags
    take: npt.NDArray[np.int_]
    kind: npt.NDArray[np.str_]
    model: npt.NDArray[np.str_]


def rows_of_seed(seed: int, model: str | None = None) -> list[dict[str, float | str]]:
    """Return the notes of one drawn take, by a string model of `MODELS`."""
    drawn = draw(seed, model)
    rng = np.random.default_rng([seed, 6])
    rows: list[dict[str, float | str]] = []
    for true in drawn.truth:
        onset_s = max(true.onset_s + rng.normal(0.0, ONSET_SD_S), 0.0)
        after = drawn.samples[round(onset_s * RATE_HZ) : round(true.end_s * RATE_HZ)]
        if true.sounding_fret != true.fret or "cut" in true.marks:
            continue
        levels = attack_levels_db(after, sample_rate_hz=RATE_HZ).tolist()
        rows.append(
            {
                **{f"level{i:02d}": level for i, level in enumerate(levels)},
                "take": seed,
                "string": true.string,
                "fret": true.fret,
                "until_s": true.contact_until_s,
                "struck": float(goes_on_striking(true)),
                "kind": drawn.kind,
                "model": drawn.model,
            }
        )
    return rows


def attacks_of(data: Table) -> Attacks:
    """Return the attacks of tables whose strings hold enough notes to compare them with."""
    levels = np.stack([data[k] for k in sorted(data) if k.startswith("level")], axis=1)
    where = np.stack([data[k].astype(int) for k in ("take", "string", "fret")], axis=1)
    struck, until_s = data["struck"], data["until_s"]
    excess = attack_excess(
        levels.astype(np.float64), [Place(*row) for row in where.tolist()], struck
    )
    touched, free = until_s > TOUCHED_S, until_s == 0.0
    told = np.isfinite(excess).all(axis=1) & (touched | free)
    return Attacks(
        excess_db=excess[told],
        touched=touched[told],
        brief=(touched & (struck == 0.0))[told],
        free=free[told],
        take=where[told, 0],
        kind=data["kind"][told],
        model=data["model"][told],
    )


def fit_trees(attacks: Attacks, chosen: Flags) -> Any:
    """Return the trees fitted to the chosen notes, touched and free weighing the same."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    touched = attacks.touched[chosen]
    share = touched.mean()
    return HistGradientBoostingClassifier(
        max_iter=TREES,
        learning_rate=RATE,
        max_leaf_nodes=2**DEPTH,
        max_depth=DEPTH,
        l2_regularization=5.0,
        min_samples_leaf=40,
        early_stopping=False,
        random_state=0,
    ).fit(attacks.excess_db[chosen], touched, np.where(touched, 0.5 / share, 0.5 / (1.0 - share)))


def held_out(attacks: Attacks) -> Array:
    """Return the log odds of a touch for the notes of each take from the others."""
    fold = fold_of(attacks.take)
    out = np.zeros(attacks.take.size)
    for k in range(FOLDS):
        trees = fit_trees(attacks, fold != k)
        out[fold == k] = trees.decision_function(attacks.excess_db[fold == k])
    return out


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
    """Draw a table, or fit to tables; print, or write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tables", nargs="+", type=Path)
    parser.add_argument("--seeds", nargs=2, type=int, metavar=("FIRST", "LAST"))
    parser.add_argument("--model", choices=MODELS)
    parser.add_argument("--unseen", nargs="+", type=Path, default=(), metavar="TABLE")
    parser.add_argument("--write", type=Path)
    asked = parser.parse_args(arguments)
    if asked.seeds is not None:
        rows = [row for seed in range(*asked.seeds) for row in rows_of_seed(seed, asked.model)]
        np.savez_compressed(asked.tables[0], **table(rows))  # type: ignore[arg-type]
        print(f"{len(rows)} notes written to {asked.tables[0]}")
        return
    attacks = attacks_of(read_tables(asked.tables))
    report(attacks, held_out(attacks))
    trees = fit_trees(attacks, np.ones(attacks.take.size, np.bool_))
    if asked.unseen:
        unseen = attacks_of(read_tables(asked.unseen))
        report(unseen, trees.decision_function(unseen.excess_db))
    if asked.write is not None:
        write_numbers(asked.write, trees)


if __name__ == "__main__":
    main()
