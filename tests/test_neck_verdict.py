"""Bars between the verdicts, and places that were not played."""

from __future__ import annotations

import math
from typing import Any

import pytest

from buzzscan.errors import BarsError
from buzzscan.neck.verdict import Bars, Position


@pytest.mark.parametrize(
    ("bars", "message"),
    [
        ({"buzz_db": math.nan}, "buzz_db is nan, need -90 to 0"),
        ({"buzz_db": 3.0}, "buzz_db is 3, need -90 to 0"),
        ({"pitch_cents": -1.0}, "pitch_cents is -1, need 0.5 to 50"),
        ({"short_ratio": 0.9}, "short_ratio is 0.9, need 1 to 10"),
        ({"heard": "loud"}, 'heard is "loud", need "acoustic" or "amp"'),
        ({"short_ratio": 3.0}, "dead_ratio is 2, need at least short_ratio, 3"),
    ],
)
def test_bars_that_nothing_can_be_judged_by_are_refused(bars: dict[str, Any], message: str) -> None:
    with pytest.raises(BarsError, match=message):
        Bars(**bars)


def test_a_place_that_was_not_played_has_no_verdict() -> None:
    place = Position.unplayed(3, 7)
    assert (place.string, place.fret, place.notes, place.reason) == (3, 7, (), "not played")
    assert not place.picked
    assert (place.buzz, place.sustain, place.pitch, place.contact) == (None,) * 4
