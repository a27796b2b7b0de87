"""Runs of whole numbers, as strings and frets are said.

Conventions
-----------
Numbers are sorted and said once.

Limits
------
How a run is written ("1-4", "1–4") is its reader's choice.
"""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["runs_of"]


def runs_of(values: Iterable[int]) -> list[list[int]]:
    """Return whole numbers grouped into runs of neighbours: 1, 2, 3, 7 is [1, 2, 3], [7]."""
    runs: list[list[int]] = []
    for value in sorted(set(values)):
        if runs and value == runs[-1][-1] + 1:
            runs[-1].append(value)
        else:
            runs.append([value])
    return runs
