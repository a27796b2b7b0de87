"""What stands on the repairer's printed sheet, and the picture of the neck.

Conventions
-----------
The same words as on the page, from the same view.

Limits
------
Sound cannot be printed; the sheet names the notes instead.
"""

from __future__ import annotations

from typing import Protocol

from buzzscan.report.clips import ClipSet
from buzzscan.report.sheet import MARGIN, SOFT, WIDTH, Sheet
from buzzscan.report.typesetting import LABEL, fitting, wrapped
from buzzscan.report.view import FindingView, ReportView

__all__ = ["bench_pdf", "method_on", "neck_png", "title_on"]


class Headed(Protocol):
    """A view with a head, a method and cautions: of one take or of two."""

    @property
    def title(self) -> str: ...
    @property
    def shop(self) -> str: ...
    @property
    def job(self) -> str: ...
    @property
    def headline(self) -> str: ...
    @property
    def counts(self) -> str: ...
    @property
    def setup(self) -> tuple[tuple[str, str], ...]: ...
    @property
    def method(self) -> tuple[tuple[str, str], ...]: ...
    @property
    def cautions(self) -> tuple[str, ...]: ...


_WIDTHS = (8, 6, 4, 4, 7, 5, 7, 5, 5, 5, 7, 40)
"""Columns of the table of notes, in signs."""
MOST_DRAWN = 2
"""Findings whose evidence is drawn: the first ones decide what is done."""
_PICTURE_WIDTH, _PICTURE_HEIGHT = 640.0, 1600.0
"""Points; the picture is cut off below its last line."""


def bench_pdf(view: ReportView, clips: ClipSet) -> bytes:
    """Return the repairer's sheet as a PDF.

    Parameters
    ----------
    view
        What it says.
    clips
        Notes to be drawn beside their clean neighbours.
    """
    sheet = Sheet(" · ".join(part for part in (view.title, view.shop, view.job) if part))
    title_on(sheet, view, "Bench sheet · fret buzz, sustain and pitch", first=view.first_step)
    for remark in view.remarks:
        sheet.paragraph(remark, size=9.0, after=4.0)
    sheet.neck(view.layers[0])
    sheet.heading("Findings, and what to do next", keep=60.0)
    if not view.findings:
        sheet.paragraph(f"{view.headline}.")
    for index, finding in enumerate(view.findings, 1):
        _finding(sheet, index, finding)
        if index <= MOST_DRAWN:
            _evidence(sheet, view, finding, clips)
    if view.unexplained:
        sheet.paragraph(view.unexplained, size=10.0, after=4.0)
    for layer in view.layers[1:]:
        sheet.heading(layer.title, keep=180.0)
        sheet.neck(layer)
    _recordings(sheet, view)
    method_on(sheet, view)
    sheet.new_page()
    sheet.heading(f"All {len(view.notes)} notes")
    rows = [(*note.columns, note.reason) for note in view.notes]
    headers = (*view.note_headers, "Not judged because")
    sheet.table(headers, rows, _WIDTHS, left=frozenset({11}))
    return sheet.pdf()


def title_on(sheet: Sheet, view: Headed, kind: str, *, first: str = "") -> None:
    """Set the head of a sheet: kind, name, facts, headline, what to do first, and counts."""
    sheet.paragraph(kind, size=9.0, color=SOFT, after=0.0)
    sheet.paragraph(view.title, size=20.0, after=2.0)
    facts = [("Shop", view.shop), ("Job", view.job), *view.setup]
    line = "    ".join(f"{name}: {value}" for name, value in facts if value)
    sheet.paragraph(line, size=7.5, face=LABEL, color=SOFT, after=4.0)
    sheet.rule(weight=1.4)
    sheet.paragraph(view.headline, size=13.0, after=0.0)
    if first:
        sheet.paragraph(f"First: {first}", size=10.0, after=1.0)
    sheet.paragraph(view.counts, size=7.5, face=LABEL, color=SOFT, after=6.0)


def _finding(sheet: Sheet, index: int, finding: FindingView) -> None:
    body = wrapped(f"{finding.summary} {finding.next_step}", WIDTH - 14.0, 10.0, "serif")
    sheet.need(34.0 + 12.5 * min(len(body), 6))
    sheet.paragraph(f"{index}  {finding.title}", size=11.0, bold=True, after=1.0)
    facts = [f"confidence {finding.confidence}"]
    if finding.height:
        facts.append(f"height {finding.height}")
    if finding.evidence:
        facts.append(f"heard at {finding.evidence}")
    line = "    ".join(facts)
    sheet.paragraph(line, size=7.5, face=LABEL, color=SOFT, indent=14.0, after=1.0)
    sheet.paragraph(finding.summary, indent=14.0, after=1.0)
    sheet.paragraph(f"Next: {finding.next_step}", indent=14.0, after=8.0)


def _evidence(sheet: Sheet, view: ReportView, finding: FindingView, clips: ClipSet) -> None:
    """Draw the most telling note of a finding beside its clean neighbour."""
    for key in finding.keys:
        position = view.positions[key]
        if position.neighbour is not None and key in clips.by_key:
            clean = view.positions[position.neighbour]
            sides = ((position.title, key), (f"clean neighbour: {clean.title}", clean.key))
            sheet.traces(sides, clips, size=8.5)
            sheet.y += 4.0
            return


def _recordings(sheet: Sheet, view: ReportView) -> None:
    sheet.heading("Recordings")
    for recording in view.recordings:
        line = fitting(f"{recording.name}: {recording.facts}", WIDTH, 10.0, "serif")
        sheet.paragraph(line, after=1.0)
        for warning in recording.warnings:
            sheet.paragraph(f"Warning: {warning}", indent=14.0, after=1.0)


def method_on(sheet: Sheet, view: Headed) -> None:
    """Set how it was measured, and the cautions."""
    sheet.heading("How it was measured")
    for term, text in view.method:
        sheet.need(24.0)
        lines = "\n".join(wrapped(term, 86.0, 9.0, "serif", bold=True))
        sheet.put(MARGIN, sheet.y + 9.0, lines, size=9.0, bold=True)
        sheet.paragraph(text, size=9.0, indent=92.0, after=3.0)
    sheet.heading("Before you work on it")
    for line in view.cautions:
        sheet.need(14.0)
        sheet.put(MARGIN + 3.0, sheet.y + 9.0, "–", size=9.0)
        sheet.paragraph(line, size=9.0, indent=14.0, after=2.0)


def neck_png(view: ReportView) -> bytes:
    """Return a picture of all layers of the map with their keys."""
    sheet = Sheet(view.title, page_width=_PICTURE_WIDTH, page_height=_PICTURE_HEIGHT)
    sheet.paragraph(view.title, size=16.0, after=0.0)
    sheet.paragraph(view.headline, size=10.0, color=SOFT, after=4.0)
    for layer in view.layers:
        sheet.paragraph(layer.title, size=11.0, after=0.0)
        sheet.neck(layer)
    return sheet.png()
