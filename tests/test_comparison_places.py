"""A measure of a place is that of the notes that count there."""

from __future__ import annotations

from dataclasses import replace

import pytest

from buzzscan.comparison.places import middles, values_by_place
from buzzscan.scanning import Scan


def test_only_judged_notes_with_the_measure_count(neck_scan: Scan) -> None:
    first, second, *others = neck_scan.notes
    place = (first.note.string, first.note.fret)
    twice = replace(second, note=replace(second.note, string=place[0], fret=place[1]))
    notes = (
        replace(first, buzz_db=-40.0),
        replace(twice, buzz_db=-30.0),
        replace(twice, buzz_db=None),
        replace(twice, buzz_db=-5.0, judged=False),
        *(replace(n, buzz_db=None) for n in others),
    )
    scan = replace(neck_scan, notes=notes)
    assert values_by_place(scan, lambda n: n.buzz_db) == {place: [-40.0, -30.0]}
    assert middles(scan, lambda n: n.buzz_db) == {place: pytest.approx(-35.0)}
