"""Writes the pages of a comparison.

Conventions
-----------
As `buzzscan.report.writing`: paths are returned in a fixed order, the folder must exist.

Limits
------
Sound is there as far as the recordings of both takes can still be read.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from buzzscan.comparison import Comparison
from buzzscan.plots.neckmap import INLAYS
from buzzscan.report import page
from buzzscan.report.clips import ClipSet, clips_of, span_of
from buzzscan.report.comparing import ChangeView, ComparisonView, comparison_view_of
from buzzscan.report.comparing_paper import comparison_pdf
from buzzscan.report.customer_change import AFTER, BEFORE, customer_comparison_of
from buzzscan.report.letter import customer_pdf
from buzzscan.report.neck_view import PositionView
from buzzscan.report.writing import Audience, clip_data, customer_html, write_file

__all__ = ["write_comparison"]


def write_comparison(
    comparison: Comparison, out_dir: Path, *, audience: Audience = "bench", done: str = ""
) -> tuple[Path, ...]:
    """Write the pages of a comparison.

    Parameters
    ----------
    comparison
        What to report.
    out_dir
        Folder that exists.
    audience
        "bench" for compare.html and compare.pdf, "customer" for compare-customer.html
        and compare-customer.pdf, "both" for all of it.
    done
        What the shop did between the takes, for the customer's page.

    Returns
    -------
    tuple of Path
        What was written.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    view = comparison_view_of(comparison)
    span_s = max(span_of(comparison.before), span_of(comparison.after))
    before = clips_of(comparison.before, comparison.before.positions, span_s=span_s)
    after = clips_of(comparison.after, comparison.after.positions, span_s=span_s)
    files: dict[str, Callable[[], bytes]] = {}
    if audience != "customer":
        files |= {
            "compare.html": lambda: comparison_html(view, before, after).encode("utf-8"),
            "compare.pdf": lambda: comparison_pdf(view),
        }
    if audience != "bench":
        customer = customer_comparison_of(comparison, view, done=done)
        clips = _joined(before, after)
        files |= {
            "compare-customer.html": lambda: customer_html(customer, clips).encode("utf-8"),
            "compare-customer.pdf": lambda: customer_pdf(customer, clips),
        }
    return tuple(write_file(out_dir / name, make()) for name, make in files.items())


def _joined(before: ClipSet, after: ClipSet) -> ClipSet:
    """Return the clips of both takes as one set, told apart by their keys."""
    clips = {BEFORE + key: clip for key, clip in before.by_key.items()}
    clips |= {AFTER + key: clip for key, clip in after.by_key.items()}
    return ClipSet(by_key=clips, span_s=after.span_s, ticks=after.ticks)


def comparison_html(view: ComparisonView, before: ClipSet, after: ClipSet) -> str:
    """Return the repairer's page of a comparison."""
    return page.render(
        "compare.html",
        script="bench.js",
        view=view,
        inlays=INLAYS,
        ticks=after.ticks,
        data={key: _data(change, before, after) for key, change in view.changes.items()},
    )


def _data(change: ChangeView, before: ClipSet, after: ClipSet) -> dict[str, Any]:
    verdicts = [("Change", change.tone.word, change.tone.key)]
    for name, position in (("Before", change.before), ("After", change.after)):
        if position is not None:
            _, word, key = position.verdicts[0]
            verdicts.append((name, word, key))
    return {
        **_side(change, change.before, before),
        "title": change.title,
        "verdicts": verdicts,
        "reason": change.reason,
        "against": _side(change, change.after, after),
        "alone": "",
    }


def _side(change: ChangeView, position: PositionView | None, clips: ClipSet) -> dict[str, Any]:
    return {
        "title": change.title,
        "numbers": position.numbers if position else (),
        "clip": clip_data(clips, change.key),
    }
