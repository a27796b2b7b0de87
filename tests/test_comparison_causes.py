"""What becomes of causes."""

from __future__ import annotations

import dataclasses

import pytest
from necks_by_hand import (
    HIGH_FRET,
    SLIGHT,
    after_scan,
    before_scan,
    change_at,
    changes,
    finding,
    made,
    with_high_fret,
)

from buzzscan.comparison import compare, finding_words, place_words
from buzzscan.report.view import view_of
from buzzscan.scanning import Scan


def test_cause_that_is_half_gone_is_better() -> None:
    left = {place: word for place, word in HIGH_FRET.items() if place[0] == 3}
    after = with_high_fret(after_scan(SLIGHT | left), strings=(3,))
    told = compare(before_scan(), after)
    assert told.findings[0].change == "better"
    assert told.findings[0].summary.endswith("better, still there under string 3")
    assert [change_at(told, s, 8) for s in (1, 2, 3)] == ["cured", "cured", "same"]


def test_cured_is_said_only_of_strings_that_were_told_before() -> None:
    wide = with_high_fret(made(HIGH_FRET), strings=(1, 2, 3, 4))
    told = compare(wide, after_scan({}))
    assert told.findings[0].change == "cured"
    assert told.findings[0].summary == (
        "high fret 9 under strings 1–4: cured under strings 1–3, not told under string 4"
    )


def test_untouched_cause_is_still_there() -> None:
    after = with_high_fret(after_scan(HIGH_FRET | SLIGHT))
    told = compare(before_scan(), after)
    assert [(f.change, f.summary.split(": ")[1]) for f in told.findings] == [
        ("same", "still there")
    ]
    assert set(changes(told)) == {"same"}


def test_a_cause_that_is_left_by_touches_alone_is_cured() -> None:
    # the fret is still found, by a string that touches it as it is picked: no note of it is marked
    clean = after_scan(SLIGHT)
    ids = tuple(i for p in clean.positions if (p.string, p.fret) == (3, 8) for i in p.notes)
    left = dataclasses.replace(finding(before_scan(), strings=(3,), fret=9), notes=ids)
    after = dataclasses.replace(clean, findings=(left,))
    told = compare(before_scan(), after)
    assert [f.change for f in told.findings] == ["cured"]
    # nor is it new where there was none
    none_before = dataclasses.replace(before_scan(), findings=())
    assert compare(none_before, after).findings == ()


def test_a_cause_left_by_touches_alone_does_not_explain_a_softer_pick_away() -> None:
    # one dressed fret cannot silence the fourth string too, whether or not it is still touched
    clean = after_scan({})
    ids = tuple(i for p in clean.positions if (p.string, p.fret) == (3, 8) for i in p.notes)
    left = dataclasses.replace(finding(before_scan(), strings=(3,), fret=9), notes=ids)
    told = compare(before_scan(), dataclasses.replace(clean, findings=(left,)))
    assert told.strength.pick == "unknown"
    assert changes(told)["cured"] == 0


def test_cause_is_not_cured_while_a_place_of_it_was_not_heard_again() -> None:
    after = after_scan()
    lost = tuple(
        dataclasses.replace(p, buzz=None, reason="not played")
        if (p.string, p.fret) == (3, 8)
        else p
        for p in after.positions
    )
    told = compare(before_scan(), dataclasses.replace(after, positions=lost))
    assert told.findings[0].change == "better"


def test_new_cause_is_new() -> None:
    after = with_high_fret(after_scan(HIGH_FRET | SLIGHT))
    told = compare(made(SLIGHT), after)
    assert [f.change for f in told.findings] == ["new"]
    assert changes(told)["new"] == 9


def test_another_name_for_the_same_buzz_is_not_new() -> None:
    after = after_scan(HIGH_FRET | SLIGHT)
    renamed = finding(after, "low action", strings=(1, 2, 3), fret=12)
    told = compare(made(HIGH_FRET | SLIGHT), dataclasses.replace(after, findings=(renamed,)))
    assert [f.change for f in told.findings] == ["same"]


@pytest.mark.parametrize(
    ("ratio", "still", "change"),
    [(1.0, "found", "same"), (1.6, "", "cured"), (1.1, "", "same"), (0.6, "found", "worse")],
)
def test_dead_spot_is_judged_by_how_long_it_rings(
    ratio: float,
    still: str,
    change: str,
) -> None:
    before, after = made({}), after_scan({})
    spot = finding(before, "dead spot", strings=(3,), fret=5)
    spot = dataclasses.replace(spot, notes=spot.notes[-2:])
    longer = tuple(
        dataclasses.replace(p, t60_s=5.0 * ratio) if (p.string, p.fret) == (3, 5) else p
        for p in after.positions
    )
    told = compare(
        dataclasses.replace(before, findings=(spot,)),
        dataclasses.replace(after, positions=longer, findings=(spot,) if still else ()),
    )
    assert [f.change for f in told.findings] == [change]


def test_places_in_words() -> None:
    assert place_words("high fret", (3, 1, 2, 6), (9,)) == "high fret 9 under strings 1–3, 6"
    assert place_words("dead spot", (3,), (5,)) == "dead spot at string 3 fret 5"
    assert place_words("saddle", (2,), ()) == "saddle at string 2"


def test_one_resonance_on_several_strings_is_named_by_its_places() -> None:
    scan = made({})
    places = ((2, 7), (3, 11))
    ids = tuple(i for p in scan.positions if (p.string, p.fret) in places for i in p.notes)
    spot = dataclasses.replace(
        finding(scan, "dead spot", strings=(2, 3), fret=7), frets=(7, 11), notes=ids
    )
    assert finding_words(spot, scan) == "dead spot at string 2 fret 7, string 3 fret 11"
    view = view_of(dataclasses.replace(scan, findings=(spot,)))
    assert view.findings[0].where == "fret\u00a07, string\u00a02; fret\u00a011, string\u00a03"


def _with_saddle(scan: Scan, *, found: bool, sharp_from_12: float = 0.0) -> Scan:
    """Return a scan whose string 4 is sharp over the upper frets, and whether that is told."""
    positions = tuple(
        dataclasses.replace(p, cents=(p.cents or 0.0) + sharp_from_12 * (p.fret >= 12))
        if p.string == 4
        else p
        for p in scan.positions
    )
    ids = tuple(i for p in positions if p.string == 4 for i in p.notes)
    saddle = dataclasses.replace(
        finding(scan, strings=(4,), fret=12), kind="saddle", frets=(12,), notes=ids
    )
    return dataclasses.replace(scan, positions=positions, findings=(saddle,) if found else ())


@pytest.mark.parametrize(
    ("shown", "moved", "change"),
    [
        ((False, True), 0.5, "same"),  # it crossed the bar of being told, and no more
        ((True, False), 0.5, "same"),
        ((False, True), 8.0, "new"),
        ((True, False), -8.0, "cured"),
    ],
)
def test_a_saddle_came_or_went_only_if_the_upper_frets_moved(
    shown: tuple[bool, bool], moved: float, change: str
) -> None:
    before = _with_saddle(before_scan(), found=shown[0], sharp_from_12=10.0)
    after = _with_saddle(after_scan({}), found=shown[1], sharp_from_12=10.0 + moved)
    assert [f.change for f in compare(before, after).findings] == [change]
    # a string that was tuned anew moves as a whole
    tuned = dataclasses.replace(
        after,
        positions=tuple(
            dataclasses.replace(p, cents=(p.cents or 0.0) + 12.0) if p.string == 4 else p
            for p in after.positions
        ),
    )
    assert [f.change for f in compare(before, tuned).findings] == [change]
