"""The customer's page on one sheet of paper.

Conventions
-----------
The same words as on the screen, from the same view. The text is set at the largest of a few
sizes at which everything fits on one page.

Limits
------
Sound cannot be printed. Where even the smallest size does not fit, the page ends with the
number of findings that are only on the screen page.
"""

from __future__ import annotations

from buzzscan.report import words
from buzzscan.report.clips import ClipSet
from buzzscan.report.customer import CustomerFinding, CustomerView, Pair
from buzzscan.report.sheet import SOFT, Sheet

__all__ = ["customer_pdf"]

_SCALES = (1.0, 0.93, 0.86, 0.8)
"""Body text of 10 down to 8 points: still readable on paper."""


def customer_pdf(customer: CustomerView, clips: ClipSet) -> bytes:
    """Return the customer's page as a PDF of one page."""
    n_all = len(customer.work) + len(customer.stays)

    def sheet(scale: float, n_shown: int) -> Sheet:
        return _sheet(customer, clips, scale=scale, n_shown=n_shown, n_all=n_all)

    n_shown = n_all
    while n_shown and sheet(_SCALES[-1], n_shown).n_pages > 1:
        n_shown -= 1
    fitting = (made for scale in _SCALES if (made := sheet(scale, n_shown)).n_pages == 1)
    return next(fitting, sheet(_SCALES[-1], n_shown)).pdf()


def _sheet(
    customer: CustomerView,
    clips: ClipSet,
    *,
    scale: float,
    n_shown: int,
    n_all: int,
) -> Sheet:
    parts = (customer.guitar, customer.shop)
    sheet = Sheet(" · ".join(part for part in parts if part))
    size = 10.0 * scale
    work = customer.work[:n_shown]
    stays = customer.stays[: n_shown - len(work)]
    _head(sheet, customer)
    for index, line in enumerate(customer.summary):
        sheet.paragraph(line, size=size * (1.08 if index else 1.35), after=2.0)
    for pair in customer.heard[:1]:
        sheet.y += 5.0
        sheet.paragraph("Before beside after", size=size * 1.3, after=2.0)
        _pair(sheet, pair, clips, size=size)
    for index, finding in enumerate(work):
        first = index == 0 and not customer.heard
        _finding(sheet, finding, clips if first else None, size=size)
    sheet.y += 6.0
    for layer in customer.layers:
        sheet.paragraph(layer.title, size=size * 1.3, after=2.0)
        last = layer is customer.layers[-1]
        sheet.neck(layer, cell_height=15.0 * scale, explained=last)
    pictured = bool(work or customer.heard)
    _stays(sheet, customer, stays, None if pictured else clips, size=size)
    for finding in customer.recording:
        line = f"{finding.title} ({finding.where}). {finding.remedy}"
        sheet.paragraph(line, size=size, after=3.0)
    if n_shown < n_all:
        more = words.count(n_all - n_shown, "further finding")
        sheet.paragraph(f"{more} on the screen page.", size=size, after=3.0)
    _foot(sheet, customer, size=size)
    return sheet


def _stays(
    sheet: Sheet,
    customer: CustomerView,
    stays: tuple[CustomerFinding, ...],
    clips: ClipSet | None,
    *,
    size: float,
) -> None:
    if stays or customer.accepted:
        sheet.paragraph("What stays as it is, and why", size=size * 1.3, after=2.0)
    for index, finding in enumerate(stays):
        title = f"{finding.title}. {finding.where}."
        sheet.paragraph(title, size=size, bold=True, after=0.0)
        sheet.paragraph(f"{finding.why} {finding.remedy}", size=size, after=3.0)
        if index == 0 and clips and finding.pair:
            _pair(sheet, finding.pair, clips, size=size)
    if customer.accepted:
        sheet.paragraph(customer.accepted, size=size, after=3.0)


def _head(sheet: Sheet, customer: CustomerView) -> None:
    if customer.shop:
        sheet.paragraph(customer.shop, size=10.0, color=SOFT, after=0.0)
    sheet.paragraph(customer.title, size=19.0, after=0.0)
    sheet.paragraph(customer.line, size=10.0, color=SOFT, after=4.0)
    sheet.rule(weight=1.2)
    sheet.y += 3.0


def _finding(sheet: Sheet, finding: CustomerFinding, clips: ClipSet | None, *, size: float) -> None:
    sheet.y += 5.0
    sheet.paragraph(finding.title, size=size * 1.3, after=0.0)
    sheet.paragraph(finding.where, size=size, color=SOFT, after=2.0)
    sheet.paragraph(f"{finding.why} {finding.size}".strip(), size=size, after=4.0)
    if finding.pair and clips:
        _pair(sheet, finding.pair, clips, size=size)
    sheet.paragraph(f"What we do about it: {finding.remedy}", size=size, after=3.0)


def _pair(sheet: Sheet, pair: Pair, clips: ClipSet, *, size: float) -> None:
    sheet.traces(
        (
            (f"{pair.word}: {pair.title}", pair.key),
            (f"{pair.good_word}: {pair.good_title}", pair.good_key),
        ),
        clips,
        size=size,
    )
    sheet.paragraph(
        "Above: how loud the note is over time. Below: which pitches sound, low to high; the "
        "darker, the louder.",
        size=0.8 * size,
        color=SOFT,
        after=4.0,
    )


def _foot(sheet: Sheet, customer: CustomerView, *, size: float) -> None:
    sheet.y += 3.0
    sheet.rule(weight=0.4)
    terms = "  ".join(f"{term}: {text}." for term, text in customer.glossary)
    sheet.paragraph(terms, size=0.82 * size, after=3.0)
    sheet.paragraph(" ".join(customer.cautions), size=0.82 * size, after=0.0)
