"""What a comparison of two takes says: rounded and worded once, for all its pages.

Conventions
-----------
The words of change are taken as they are judged. "Before" and "after" are views of their own
scans; this one only sets them beside each other.

Limits
------
Positions are matched by string and fret.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

from buzzscan.comparison import (
    ComparedFinding,
    ComparedPosition,
    Comparison,
    same_cause,
    same_recordings,
)
from buzzscan.neck.verdict import Finding, tells_contact
from buzzscan.plots.neckmap import MapCell, MapLayer, MapRow
from buzzscan.plots.tones import Tone, tone_of, tones_of
from buzzscan.report import words
from buzzscan.report.neck_view import PositionView, fret_name, key_of
from buzzscan.report.texts import CAUTIONS, CHANGE_METHOD
from buzzscan.report.view import FindingView, ReportView, view_of

__all__ = ["ChangeView", "ComparisonView", "comparison_view_of"]

HEADERS = (
    "String",
    "Fret",
    "Before",
    "After",
    "Buzz change, dB",
    "Sustain ratio",
    "Cents change",
    "Verdict",
    "Reason",
)
_TELLING = ("new", "worse", "cured", "better", "not comparable", "same")
"""Order in which a change is worth looking at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeView:
    """One position before and after, in words.

    Parameters
    ----------
    key, title, spoken
        As in `buzzscan.report.neck_view.PositionView`.
    tone
        Verdict on the change.
    reason
        Why it is not comparable; empty otherwise.
    change_db
        Change of buzz for sorting; 0 where it was not measured.
    columns
        Its row in the table of changes.
    before, after
        The position in each take.
    """

    key: str
    string: int
    title: str
    spoken: str
    tone: Tone
    reason: str
    change_db: float
    columns: tuple[str, ...]
    before: PositionView | None
    after: PositionView | None
    played: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeFindingView:
    """What became of one finding, in words.

    Parameters
    ----------
    title, tone, strings
        What became of it, and where.
    before, after
        What each take says of it; empty where it says nothing.
    next_step
        What to do next, if it is still there.
    """

    title: str
    tone: Tone
    strings: tuple[int, ...]
    before: str
    after: str
    next_step: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonView:
    """A whole comparison in words."""

    title: str
    shop: str
    job: str
    headline: str
    counts: str
    setup: tuple[tuple[str, str], ...]
    layers: tuple[MapLayer, ...]
    changes: dict[str, ChangeView]
    findings: tuple[ChangeFindingView, ...]
    remarks: tuple[str, ...]
    headers: tuple[str, ...]
    method: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    first_key: str
    before: ReportView
    after: ReportView


def comparison_view_of(comparison: Comparison) -> ComparisonView:
    """Return everything the pages say about a comparison."""
    before, after = view_of(comparison.before), view_of(comparison.after)
    changes = {
        key_of(c.string, c.fret): _change_view(c, comparison, before, after)
        for c in comparison.positions
    }
    then = tuple(zip(comparison.before.findings, before.findings, strict=True))
    now = tuple(zip(comparison.after.findings, after.findings, strict=True))
    found = [_finding_view(f, then, now) for f in comparison.findings]
    steps = words.each_once([f.next_step for f in found])
    findings = tuple(replace(f, next_step=s) for f, s in zip(found, steps, strict=True))
    return ComparisonView(
        title=after.title,
        shop=after.shop or before.shop,
        job=after.job or before.job,
        headline=_headline(comparison, findings),
        counts=comparison.summary,
        setup=after.setup,
        layers=(
            _change_layer(changes, after.layers[0], comparison),
            replace(before.layers[0], key="before", title="Buzz before"),
            replace(after.layers[0], key="after", title="Buzz after"),
        ),
        changes=changes,
        findings=findings,
        remarks=tuple(words.held(remark) for remark in comparison.remarks),
        headers=HEADERS,
        method=(*CHANGE_METHOD, *after.method),
        cautions=CAUTIONS,
        first_key=_first(changes),
        before=before,
        after=after,
    )


def _change_view(
    change: ComparedPosition, comparison: Comparison, before: ReportView, after: ReportView
) -> ChangeView:
    key = key_of(change.string, change.fret)
    one, other = before.positions.get(key), after.positions.get(key)
    played = any(p is not None and p.played for p in (one, other))
    tone = tone_of("change", change.change if played else None, played=played)
    named = other or one
    title = named.title if named else f"String {change.string}, fret {change.fret}"
    name = fret_name(comparison.after.guitar, change.fret)
    words_then, words_now = change.buzz_before or words.DASH, change.buzz_after or words.DASH
    return ChangeView(
        key=key,
        string=change.string,
        title=title,
        spoken=f"{title}: {tone.word}, {words_then} before, {words_now} after",
        tone=tone,
        reason=change.reason,
        change_db=change.buzz_change_db or 0.0,
        columns=(
            str(change.string),
            name.removeprefix("fret "),
            words_then,
            words_now,
            words.number(_buzz_change_db(change), 1, signed=True),
            words.number(change.sustain_change_ratio, 2),
            words.number(change.cents_change, 1, signed=True),
            tone.word,
            change.reason,
        ),
        before=one,
        after=other,
        played=played,
    )


def _buzz_change_db(change: ComparedPosition) -> float | None:
    """Return the change of buzz where both takes have one: what is clean has no level of buzz."""
    both = tells_contact(change.buzz_before) and tells_contact(change.buzz_after)
    return change.buzz_change_db if both else None


def _change_layer(
    changes: dict[str, ChangeView], base: MapLayer, comparison: Comparison
) -> MapLayer:
    by_key = {key_of(c.string, c.fret): c for c in comparison.positions}
    rows = []
    faults: Counter[int] = Counter()
    for row in base.rows:
        cells = []
        for fret in range(len(base.fret_labels)):
            key = key_of(row.string, fret)
            view, change = changes.get(key), by_key.get(key)
            value = None if change is None else _buzz_change_db(change)
            tone = view.tone if view else tone_of("change", None, played=False)
            faults[fret] += tone.word in {"worse", "new"}
            cells.append(
                MapCell(
                    tone=tone,
                    value=""
                    if value is None or tone.word == "same"
                    else words.number(value, 0, signed=True),
                    spoken=view.spoken if view else "not played",
                )
            )
        rows.append(MapRow(string=row.string, label=row.label, cells=tuple(cells)))
    return replace(
        base,
        key="change",
        title="Change",
        caption="Change of buzz where both takes have it, dB (minus is less buzz)",
        tones=tones_of("change"),
        rows=tuple(rows),
        foot=tuple(str(faults[f]) if faults[f] else "" for f in range(len(base.fret_labels))),
        foot_title="Strings that got worse",
    )


def _headline(comparison: Comparison, findings: tuple[ChangeFindingView, ...]) -> str:
    """Return what became of the first finding, and of any that got worse meanwhile."""
    if same_recordings(comparison.before, comparison.after):
        return "Before and after are the same recording: nothing to compare"
    if not findings:
        return "No finding in either take"
    head = findings[0].title
    bad = [f for f in findings[1:] if f.tone.word in {"new", "worse"}]
    if not bad:
        return head
    more = f", and {words.count(len(bad) - 1, 'more')} new or worse" if len(bad) > 1 else ""
    return f"{head}. But: {bad[0].title[0].lower()}{bad[0].title[1:]}{more}"


def _finding_view(
    finding: ComparedFinding,
    then: tuple[tuple[Finding, FindingView], ...],
    now: tuple[tuple[Finding, FindingView], ...],
) -> ChangeFindingView:
    one = next((view for f, view in then if same_cause(finding, f)), None)
    other = next((view for f, view in now if same_cause(finding, f)), None)
    return ChangeFindingView(
        title=words.held(_sentence(finding.summary).rstrip(".")),
        tone=tone_of("change", finding.change, played=True),
        strings=finding.strings,
        before=_said(one),
        after=_said(other),
        next_step=next((f.next_step for f, view in now if view is other), ""),
    )


def _said(finding: FindingView | None) -> str:
    """Return what a take says of a finding, its size included."""
    if finding is None:
        return ""
    return f"{finding.summary} Height {finding.height}." if finding.height else finding.summary


def _sentence(text: str) -> str:
    """Return words as a sentence."""
    return f"{text[0].upper()}{text[1:]}".rstrip(".") + "." if text else ""


def _first(changes: dict[str, ChangeView]) -> str:
    """Return the position that is worth looking at first."""
    played = [c for c in changes.values() if c.played]
    best = min(played, key=lambda c: _TELLING.index(c.tone.word), default=None)
    return best.key if best else ""
