"""Repeatability in the terminal.

Conventions
-----------
One line for each measure, each number with its unit.

Limits
------
Wording only: the study itself is in `buzzscan.repeating`.
"""

from __future__ import annotations

import textwrap

from buzzscan.measures.repeatability import GaugeStudy
from buzzscan.repeating import Repeatability, RepeatLine

__all__ = ["render_repeat_terminal"]

WIDTH = 80
HEAD = (
    ("", "one take", "positions", "takes'", "steps", "a change"),
    ("measure", "varies by", "differ by", "share", "told", "is real from"),
)
_COLUMNS = (11, 15, 15, 9, 8, 18)
EXPLAINED = (
    "one take varies by: standard deviation of the same note from take to take.",
    "positions differ by: standard deviation over the neck.",
    "takes' share: the first in both together; up to 10 % is good, up to 30 % usable with care.",
    "steps told: how many levels the takes can tell apart; 5 or more is good.",
    "a change is real from: a smaller one between two takes may be chance (1 in 20).",
)


def render_repeat_terminal(repeatability: Repeatability) -> str:
    """Return the repeatability of every measure as a table of text, 80 columns wide."""
    lines = [f"{repeatability.n_takes} takes of one guitar"]
    if repeatability.agreement_ratio is not None:
        share = 100 * repeatability.agreement_ratio
        lines.append(f"Same word for buzz in every take: {share:.0f} % of the positions judged in")
        lines[-1] += " all"
    for remark in repeatability.remarks:
        lines += ["", *textwrap.wrap(f"Warning: {remark}", WIDTH, subsequent_indent="  ")]
    lines += ["", *(_row(row) for row in HEAD)]
    lines += [_row(_cells(line, line.study)) for line in repeatability.lines if line.study]
    lines += [f"{line.measure:<{_COLUMNS[0]}}{line.reason}" for line in _not_studied(repeatability)]
    lines.append("")
    for text in EXPLAINED:
        lines += textwrap.wrap(text, WIDTH, subsequent_indent="  ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _not_studied(repeatability: Repeatability) -> list[RepeatLine]:
    return [line for line in repeatability.lines if line.study is None]


def _cells(line: RepeatLine, study: GaugeStudy) -> tuple[str, ...]:
    def sized(value: float) -> str:
        decimals = 2 if value < 10.0 else 1
        return f"{value:.{decimals}f} {line.unit}"

    return (
        line.measure,
        sized(study.repeatability),
        sized(study.part_variation),
        f"{study.grr_percent:.0f} %",
        "-" if study.ndc is None else str(study.ndc),
        sized(study.smallest_real_change),
    )


def _row(cells: tuple[str, ...]) -> str:
    first, *rest = zip(cells, _COLUMNS, strict=True)
    return first[0].ljust(first[1]) + "".join(cell.rjust(width) for cell, width in rest)
