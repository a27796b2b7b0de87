"""Whole numbers in short, as strings and frets are said.

Conventions
-----------
Numbers are sorted and said once; neighbours become a run: "1–3, 7". A run of two is one too,
since a comma would part it from its noun where several places follow each other.

Limits
------
Negative numbers cannot be told from the dash.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

__all__ = ["frets_named", "listed", "strings_named"]


def listed(values: Iterable[int]) -> str:
    """Return whole numbers in order and in short: 1, 2, 3, 7 is "1–3, 7"."""
    runs: list[list[int]] = []
    for value in sorted(set(values)):
        if runs and value == runs[-1][-1] + 1:
            runs[-1].append(value)
        else:
            runs.append([value])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}" for run in runs)


def strings_named(strings: Sequence[int]) -> str:
    """Return "string 6" or "strings 4–6"."""
    return f"string{'s' if len(strings) > 1 else ''} {listed(strings)}"


def frets_named(frets: Sequence[int]) -> str:
    """Return "fret 9" or "frets 7–9"."""
    return f"fret{'s' if len(frets) > 1 else ''} {listed(frets)}"
