"""What was judged before and is not found after is said, never dropped."""

from __future__ import annotations

import dataclasses

from necks_by_hand import GUITAR, HIGH_FRET, SLIGHT, after_scan, before_scan, finding, made

from buzzscan.comparison import Comparison, compare, lost_positions
from buzzscan.report import render_comparison_terminal
from buzzscan.report.comparing import comparison_view_of
from buzzscan.report.customer_change import customer_comparison_of
from buzzscan.scanning import Scan


def without(scan: Scan, *places: tuple[int, int], reason: str = "") -> Scan:
    """Return a scan whose places were not found, or were found and not judged for a reason."""
    return dataclasses.replace(
        scan,
        positions=tuple(
            dataclasses.replace(p, buzz=None, notes=p.notes if reason else (), reason=reason)
            if (p.string, p.fret) in places
            else p
            for p in scan.positions
        ),
    )


def told_of(after: Scan) -> Comparison:
    return compare(made({}), after)


def test_each_place_is_named_with_its_reason() -> None:
    after = without(after_scan({}), (1, 8), (1, 9), (3, 2))
    after = without(after, (2, 5), reason="the note is too short")
    told = told_of(after)
    assert [(p.string, p.fret) for p in lost_positions(told.positions)] == [
        (1, 8),
        (1, 9),
        (2, 5),
        (3, 2),
    ]
    assert told.remarks[0].startswith("Can't be judged: 4 positions of the after take")
    assert (
        "string 1 frets 8–9, string 3 fret 2 (not found: not played, or choked" in (told.remarks[0])
    )
    assert "string 2 fret 5 (the note is too short)" in told.remarks[0]
    assert told.summary.endswith("4 judged before can't be judged after.")
    assert "Can't be judged: 4 positions" in render_comparison_terminal(told)


def test_what_was_never_judged_is_not_lost() -> None:
    told = compare(without(made({}), (1, 8)), without(after_scan({}), (1, 8)))
    assert lost_positions(told.positions) == ()
    n = GUITAR.n_strings * (GUITAR.frets + 1) - 1
    assert told.summary == f"Of {n} positions: {n} same."


def test_a_customer_is_not_told_that_nothing_is_left() -> None:
    told = compare(before_scan(), without(after_scan(), (2, 12)))
    page = customer_comparison_of(told, comparison_view_of(told))
    assert any("1 could not be compared and should be played again" in s for s in page.summary)
    assert not any("No note buzzes" in s for s in page.summary)
    whole = compare(before_scan(), after_scan())
    assert "No note buzzes any more." in (
        customer_comparison_of(whole, comparison_view_of(whole)).summary
    )


def test_a_new_fault_is_in_the_headline_beside_the_cure() -> None:
    other = {(s, 11): word for (s, _), word in HIGH_FRET.items()}
    after = after_scan(SLIGHT | other)
    fault = finding(after, strings=(1, 2, 3), fret=12)
    told = compare(before_scan(), dataclasses.replace(after, findings=(fault,)))
    view = comparison_view_of(told)
    assert view.headline == (
        "High fret 9 under strings 1–3: cured. But: high fret 12 under strings 1–3: new since "
        "the before take"
    )
