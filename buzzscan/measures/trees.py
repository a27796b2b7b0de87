"""Boosted trees: sums of many small steps, each told by a few splits.

Conventions
-----------
All trees are full: the same number of splits between the root and every end, and a split that
does nothing has one end twice. Splits run from the root on, level by level and from below to
above.

Limits
------
Evaluation only; `tests/training` grows them.

References
----------
J. H. Friedman, "Greedy function approximation: a gradient boosting machine", Ann. Statist. 29
(2001), 1189–1232.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["Trees", "read_trees"]

FloatArray = npt.NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trees:
    """Trees that all see the same columns.

    Parameters
    ----------
    start
        What the sum starts from.
    splits
        Column that each split looks at, shape (trees, splits).
    bars
        What exceeds the bar of a split goes on above it, shape (trees, splits).
    ends
        What each end adds to the sum, shape (trees, splits + 1).
    """

    start: float
    splits: npt.NDArray[np.intp]
    bars: FloatArray
    ends: FloatArray

    def sums(self, rows: FloatArray) -> FloatArray:
        """Return what all trees add up to for each row.

        Parameters
        ----------
        rows
            Shape (rows, columns).
        """
        n_trees, n_splits = self.splits.shape
        depth = n_splits.bit_length()
        tree = np.arange(n_trees)
        row = np.arange(len(rows))[:, None]
        node = np.zeros((len(rows), n_trees), np.intp)
        for _ in range(depth):
            passed = rows[row, self.splits[tree, node]] > self.bars[tree, node]
            node = 2 * node + 1 + passed
        return np.asarray(self.start + self.ends[tree, node - n_splits].sum(axis=1))


def read_trees(text: str, *, start: float) -> Trees:
    """Return the trees of a text.

    Parameters
    ----------
    text
        A line per tree: column and bar of every split, then what the ends add.
    start
        What the sum starts from.

    Raises
    ------
    ValueError
        If the lines are not full trees of one depth.
    """
    lines = [line.split() for line in text.strip().splitlines()]
    widths = {len(line) for line in lines}
    width = widths.pop() if len(widths) == 1 else 0
    n_splits, left = divmod(width - 1, 3)
    # as many splits as a full tree has: 1, 3, 7, ...
    if left or n_splits < 1 or n_splits & (n_splits + 1):
        message = f"{len(lines)} lines are no full trees of one depth: {width or 'unlike'} numbers"
        raise ValueError(message)
    values = np.array(lines, np.float64)
    return Trees(
        start=start,
        splits=values[:, : 2 * n_splits : 2].astype(np.intp),
        bars=np.ascontiguousarray(values[:, 1 : 2 * n_splits : 2]),
        ends=np.ascontiguousarray(values[:, 2 * n_splits :]),
    )
