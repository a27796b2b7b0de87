"""What the customer's page says of two takes: what changed, what remains, and why.

Conventions
-----------
Built from a `Comparison` and the customer's views of both takes, so that words and signs are
the same as on the page of one take.

Limits
------
What was done is not heard in a recording: it is said only where the shop says so.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from buzzscan.comparison import Comparison
from buzzscan.plots.neckmap import MapLayer
from buzzscan.report import words
from buzzscan.report.comparing import ChangeView, ComparisonView
from buzzscan.report.customer import CustomerView, Pair, customer_view_of, not_told, plain_layer
from buzzscan.scanning import Scan

__all__ = ["AFTER", "BEFORE", "MOST_HEARD", "customer_comparison_of"]

BEFORE, AFTER = "before ", "after "
"""What the keys of clips begin with, by take."""
MOST_HEARD = 2


def customer_comparison_of(
    comparison: Comparison, view: ComparisonView, *, done: str = ""
) -> CustomerView:
    """Return what the customer's page says about a comparison.

    Parameters
    ----------
    comparison, view
        What is compared, and the repairer's view of it.
    done
        What the shop did, in its own words.
    """
    then = customer_view_of(comparison.before, view.before)
    now = customer_view_of(comparison.after, view.after)
    return replace(
        now,
        title="Before and after",
        shop=view.shop,
        job=view.job,
        date=_dates(then.date, now.date),
        summary=_summary(comparison, view, then, done=done),
        heard=tuple(_pair(change) for change in _telling(view)[:MOST_HEARD]),
        work=tuple(replace(f, pair=_of_after(f.pair)) for f in now.work),
        stays=tuple(replace(f, pair=_of_after(f.pair)) for f in now.stays),
        layers=_with_one_key(
            plain_layer(comparison.before, view.before, title="Your neck before"),
            plain_layer(comparison.after, view.after, title="Your neck after"),
        ),
    )


def _dates(then: str, now: str) -> str:
    """Return the days of both takes in words, as far as they are known and differ."""
    if then and now and then != now:
        return f"before: {then}, after: {now}"
    return now


def _with_one_key(before: MapLayer, after: MapLayer) -> tuple[MapLayer, MapLayer]:
    """Return both maps; the key stands under the second and explains the signs of both."""
    missing = tuple(tone for tone in before.tones if tone not in after.tones)
    return before, replace(after, tones=(*after.tones, *missing))


def _of_after(pair: Pair | None) -> Pair | None:
    if pair is None:
        return None
    return replace(pair, key=AFTER + pair.key, good_key=AFTER + pair.good_key)


def _telling(view: ComparisonView) -> list[ChangeView]:
    """Return positions whose change is best heard: cured first, then better, most change first."""
    order = {"cured": 0, "better": 1}
    heard = [c for c in view.changes.values() if c.tone.word in order]
    return sorted(heard, key=lambda c: (order[c.tone.word], c.change_db, c.key))


def _pair(change: ChangeView) -> Pair:
    return Pair(
        key=BEFORE + change.key,
        word="Before",
        title=change.title,
        good_key=AFTER + change.key,
        good_word="After",
        good_title=change.title,
    )


def _summary(
    comparison: Comparison, view: ComparisonView, then: CustomerView, *, done: str
) -> tuple[str, ...]:
    told = Counter(c.tone.word for c in view.changes.values() if c.played)
    lines = [_changed(told)]
    left = not_told(comparison.after, view.after)
    if left:
        lines.append(left)
    elif not told["not comparable"] and not _any_buzz(comparison.after):
        lines.append(f"No note buzzes{' any more' if _any_buzz(comparison.before) else ''}.")
    found = [f"{f.title[0].lower()}{f.title[1:]} ({f.where.lower()})" for f in then.work]
    if found:
        lines.append(f"What we had found: {words.joined(found)}.")
    if done:
        lines.append(f"What was done: {done.rstrip('.')}.")
    work = " the work" if done else ""
    lines.append(f"We played the neck before and after{work} and set note beside note.")
    return tuple(lines)


def _any_buzz(scan: Scan) -> bool:
    return any(p.buzz in {"buzz", "choked"} for p in scan.positions)


def _changed(told: Counter[str]) -> str:
    compared = sum(told.values()) - told["not comparable"]
    parts = []
    for word, one, many in (
        ("cured", "that buzzed is clean now", "that buzzed are clean now"),
        ("better", "buzzes less", "buzz less"),
        ("same", "is as it was", "are as they were"),
        ("worse", "buzzes more", "buzz more"),
        ("new", "that was clean buzzes now", "that were clean buzz now"),
    ):
        if told[word]:
            parts.append(f"{told[word]} {one if told[word] == 1 else many}")
    if not parts:
        return "The two recordings could not be set against each other."
    rest = told["not comparable"]
    tail = f" {rest} could not be compared and should be played again." if rest else ""
    return f"Of {words.count(compared, 'note')}, {words.joined(parts)}.{tail}"
