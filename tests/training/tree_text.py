"""Grown trees as the text that `buzzscan.measures.trees` reads, and modules of numbers.

Conventions
-----------
Bars are written with five places, since pitches of one name differ by less than a thousandth of a
logarithm from guitar to guitar; ends with four.

Limits
------
Trees of scikit-learn's histogram boosting, which has no public way to them.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

__all__ = ["baseline", "tree_lines", "write_module"]


def baseline(grown: Any) -> float:
    """Return what the sum of the trees starts from."""
    return float(np.ravel(grown._baseline_prediction)[0])


def tree_lines(grown: Any, *, depth: int) -> list[str]:
    """Return a line per tree: column and bar of every split, then the ends."""
    return [_line(stage[0].nodes, depth) for stage in grown._predictors]


def _line(nodes: Any, depth: int) -> str:
    splits = []
    level = [0]
    for _ in range(depth):
        below = []
        for i in level:
            if nodes[i]["is_leaf"]:  # split to no effect
                splits.append((0, 0.0))
                below += [i, i]
            else:
                splits.append((int(nodes[i]["feature_idx"]), float(nodes[i]["num_threshold"])))
                below += [int(nodes[i]["left"]), int(nodes[i]["right"])]
        level = below
    ends = [float(nodes[i]["value"]) for i in level]
    return " ".join([f"{column} {bar:.5f}" for column, bar in splits] + [f"{v:.4f}" for v in ends])


def write_module(path: Path, module: ModuleType, lines: Sequence[str]) -> None:
    """Write a module of numbers: its own head, up to the first of the lines, and the lines."""
    first = lines[0].split("=")[0] + "="
    head = Path(str(module.__file__)).read_text().split("\n" + first)[0].rstrip()
    path.write_text("\n".join([head, "", *lines, ""]))
