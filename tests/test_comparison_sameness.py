"""What cannot be compared, and what is only remarked."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from necks_by_hand import GUITAR, after_scan, before_scan, changes, made

from buzzscan.comparison import compare
from buzzscan.errors import ComparisonError
from buzzscan.guitar import Guitar
from buzzscan.scanning import Scan


def _guitar(**values: Any) -> Guitar:
    return dataclasses.replace(GUITAR, **values)


@pytest.mark.parametrize(
    ("other", "message"),
    [
        (_guitar(tuning=("C3", "G3", "B3", "E4")), "tunings differ: before D3 G3 B3 E4"),
        (_guitar(tuning=("G3", "B3", "E4")), "tunings differ"),
        (_guitar(scale_mm=628.0), "scale in mm is 647.7 before and 628.0 after"),
        (_guitar(capo=2), "capo is 0 before and 2 after"),
        (_guitar(a4_hz=432.0), "a4_hz is 440.0 before and 432.0 after"),
    ],
)
def test_other_guitars_are_refused_with_the_reason(other: Guitar, message: str) -> None:
    with pytest.raises(ComparisonError, match=message):
        compare(made({}), after_scan({}, guitar=other))


@pytest.mark.parametrize(
    "same",
    [_guitar(scale_mm=648.0), _guitar(scale_mm=None), _guitar(tuning=("D3-8c", "G3", "B3", "E4"))],
)
def test_slips_of_the_pen_are_not_other_guitars(same: Guitar) -> None:
    assert set(changes(compare(made({}), after_scan({}, guitar=same)))) == {"same"}


def test_takes_that_go_to_other_frets_are_of_one_guitar() -> None:
    high = made({(1, 14): "buzz"}, guitar=_guitar(frets=14))
    told = compare(high, after_scan({}))
    assert (told.before.guitar.frets, told.after.guitar.frets) == (14, 14)
    changed = {(p.string, p.fret): p for p in told.positions}
    assert len(changed) == 15 * 4
    assert changed[1, 12].change == "same"
    assert changed[1, 14].change == "not comparable"
    assert "not played" in changed[1, 14].reason
    assert any("has 14 frets and the after take 12" in r for r in told.remarks)
    assert any("string 1 frets 13–14" in r for r in told.remarks), "they are missing now"
    back = compare(before_scan(), after_scan({}, guitar=_guitar(frets=14)))
    assert {p.change for p in back.positions if p.fret > 12} == {"not comparable"}


def test_other_names_and_other_strings_are_remarked() -> None:
    def stiff(scan: Scan, factor: float) -> Scan:
        notes = tuple(
            dataclasses.replace(n, inharmonicity=4e-5 * (factor if n.note.string == 1 else 1.0))
            for n in scan.notes
        )
        return dataclasses.replace(scan, notes=notes)

    other = after_scan({}, guitar=_guitar(name="Cedar six"))
    told = compare(stiff(made({}), 1.0), stiff(other, 1.8))
    assert any('"Walnut offset" and "Cedar six"' in r for r in told.remarks)
    assert any(r.startswith("String 1 sounds of another stiffness") for r in told.remarks)
    quiet = compare(stiff(made({}), 1.0), stiff(after_scan({}), 1.15))
    assert len(quiet.remarks) == 1


def test_same_recording_twice_is_remarked() -> None:
    scan = before_scan()
    told = compare(scan, scan)
    assert told.summary.startswith("Before and after are the same recording.")
    assert told.remarks == (
        "Record the run again after the work, scan it, and compare the two scans.",
    )
    assert set(changes(told)) == {"same"}


def test_nothing_in_common_is_refused() -> None:
    scan = made({})
    silent = tuple(dataclasses.replace(n, judged=False) for n in scan.notes)
    with pytest.raises(ComparisonError, match="no position was judged in both"):
        compare(scan, dataclasses.replace(scan, notes=silent))


def test_unjudged_positions_say_why() -> None:
    after = after_scan({})
    lost = tuple(
        dataclasses.replace(p, buzz=None, reason="too soft") if p.fret == 12 else p
        for p in after.positions
    )
    told = compare(made({}), dataclasses.replace(after, positions=lost))
    assert {p.reason for p in told.positions if p.change == "not comparable"} == {"after: too soft"}
