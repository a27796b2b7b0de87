"""The comparison on paper, for the bench.

Conventions
-----------
The same words as on the page, from the same view.

Limits
------
The table lists the positions that changed or could not be compared; the rest are the same.
"""

from __future__ import annotations

from buzzscan.report.comparing import ChangeFindingView, ComparisonView
from buzzscan.report.paper import method_on, title_on
from buzzscan.report.sheet import SOFT, WIDTH, Sheet
from buzzscan.report.typesetting import LABEL, wrapped

__all__ = ["comparison_pdf"]

_WIDTHS = (6, 6, 8, 8, 15, 13, 12, 14, 34)
"""Columns of the table of changes, in signs."""


def comparison_pdf(view: ComparisonView) -> bytes:
    """Return the comparison as a PDF."""
    sheet = Sheet(" · ".join(part for part in (view.title, view.shop, view.job) if part))
    title_on(sheet, view, "Bench sheet · before and after")
    for remark in view.remarks:
        sheet.paragraph(remark, size=9.0, after=1.0)
    sheet.neck(view.layers[0])
    sheet.heading("What became of it", keep=60.0)
    if not view.findings:
        sheet.paragraph("Neither take has a finding at the bar that was set.")
    for index, finding in enumerate(view.findings, 1):
        _finding(sheet, index, finding)
    for layer in view.layers[1:]:
        sheet.heading(layer.title, keep=180.0)
        sheet.neck(layer)
    changed = [c.columns for c in view.changes.values() if c.played and c.tone.word != "same"]
    sheet.heading("Positions that changed or could not be compared", keep=50.0)
    if changed:
        sheet.table(view.headers, changed, _WIDTHS, left=frozenset({7, 8}))
    else:
        sheet.paragraph("None: every position is the same in both takes.", face=LABEL, size=8.0)
    sheet.heading("Recordings", keep=30.0)
    for name, take in (("Before", view.before), ("After", view.after)):
        for recording in take.recordings:
            sheet.paragraph(f"{name}: {recording.name}, {recording.facts}", color=SOFT, size=8.5)
    method_on(sheet, view)
    return sheet.pdf()


def _finding(sheet: Sheet, index: int, finding: ChangeFindingView) -> None:
    said = (("Before", finding.before), ("After", finding.after), ("Next", finding.next_step))
    texts = [f"{name}: {text}" for name, text in said if text]
    lines = [line for text in texts for line in wrapped(text, WIDTH - 14.0, 10.0, "serif")]
    sheet.need(20.0 + 12.5 * len(lines))  # its heading and all that is said
    sheet.paragraph(f"{index}  {finding.title}", size=11.0, bold=True, after=1.0)
    for text in texts:
        sheet.paragraph(text, indent=14.0, after=1.0)
    sheet.y += 5.0
