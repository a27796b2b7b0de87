"""Repeatability in the terminal.

Conventions
-----------
One line for each measure, in its own unit.

Limits
------
Wording only: the study itself is in `buzzscan.repeating`.
"""

from __future__ import annotations

import textwrap

from buzzscan.repeating import Repeatability, RepeatLine

__all__ = ["render_repeat_terminal"]

WIDTH = 80
HEAD = ("", "spread of a take", "between positions", "share", "steps told", "real from", "")


def render_repeat_terminal(repeatability: Repeatability) -> str:
    """Return the repeatability of every measure as a table of text, 80 columns wide."""
    lines = [f"{repeatability.n_takes} takes of one guitar"]
    if repeatability.agreement_ratio is not None:
        share = 100 * repeatability.agreement_ratio
        lines.append(f"Same buzz verdict in every take: {share:.0f} % of positions judged in all")
    lines += ["", _row(HEAD)]
    lines += [_row(_cells(line)) for line in repeatability.lines if line.study is not None]
    lines += [f"{x.measure}: {x.reason}" for x in repeatability.lines if x.study is None]
    lines += [
        "",
        "share: spread of a take in the whole variation (up to 10 % good, up to 30 % with",
        "care). steps told: how many levels the takes can tell apart; 5 or more is good.",
        "real from: a smaller change between two takes may be chance.",
    ]
    for remark in repeatability.remarks:
        lines += ["", *textwrap.wrap(remark, WIDTH)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _cells(line: RepeatLine) -> tuple[str, ...]:
    study = line.study
    assert study is not None  # noqa: S101 - the caller has looked
    return (
        line.measure,
        f"{study.repeatability:.2f}",
        f"{study.part_variation:.2f}",
        f"{study.grr_percent:.0f} %",
        "-" if study.ndc is None else str(study.ndc),
        f"{study.smallest_real_change:.2f}",
        line.unit,
    )


def _row(cells: tuple[str, ...]) -> str:
    widths = (10, 17, 18, 7, 11, 10, 0)
    first, *rest = cells
    padded = [cell.rjust(w) for cell, w in zip(rest[:-1], widths[1:-1], strict=True)]
    return first.ljust(widths[0]) + "".join(padded) + " " + rest[-1]
