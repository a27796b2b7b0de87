"""The straightedge: what is said of three frets holds for their heights."""

from __future__ import annotations

import re

import numpy as np
import pytest

from buzzscan.neck.straightedge import Suspect, alike, check, shows, telling
from buzzscan.neck.verdict import FindingKind

LAST = 22
SIZE_MM = 0.2
SEEN_MM = 0.05
"""A quarter of the fault: an edge of three frets shows about all or about half of it."""


def stands_mm(first: int, suspect: Suspect) -> float:
    """Return how far the middle of three frets stands over the line through the outer two."""
    at = 647.7 * (1.0 - 2.0 ** (-np.arange(LAST + 3) / 12.0))
    heights = np.zeros(LAST + 3)
    heights[suspect.fret] = SIZE_MM if suspect.kind == "high fret" else -SIZE_MM
    outer = np.interp(at[first + 1], at[[first, first + 2]], heights[[first, first + 2]])
    return float(heights[first + 1] - outer)


def seen(first: int, suspect: Suspect) -> str | None:
    """Return what an edge shows, from the heights."""
    stands = stands_mm(first, suspect)
    return None if abs(stands) < SEEN_MM else "rocks" if stands > 0.0 else "light"


def every_pair(kind: FindingKind) -> list[tuple[Suspect, Suspect]]:
    frets = range(1, LAST + 1)
    pairs = [(s, alike(s, last=LAST)) for f in frets for s in [Suspect(kind=kind, fret=f)]]
    return [(s, o) for s, o in pairs if o is not None]


def test_a_low_fret_rocks_an_edge_over_it_and_the_next_two_as_a_high_one_does() -> None:
    # 8 low by 0.20 mm leaves 9 0.097 mm over the line through 8 and 10: by hand from
    # 2^(1/12), the share of the way from 8 to 10 at which 9 lies is 0.5144
    low, high = Suspect(kind="low fret", fret=8), Suspect(kind="high fret", fret=9)
    assert stands_mm(8, low) == pytest.approx(0.0971, abs=0.0005)
    assert stands_mm(8, high) == pytest.approx(0.2)
    assert seen(8, low) == seen(8, high) == "rocks"
    assert "Frets 8–10 alone do not tell" in check(high, low, last=LAST)
    assert "Frets 7–9 alone do not tell" in check(low, high, last=LAST)


@pytest.mark.parametrize("kind", ["high fret", "low fret"])
@pytest.mark.parametrize("fret", [1, 2, 9, 21, 22])
def test_what_is_said_of_three_frets_is_what_their_heights_do(kind: FindingKind, fret: int) -> None:
    suspect = Suspect(kind=kind, fret=fret)
    for first in range(1, LAST - 1):
        assert shows((first, first + 1, first + 2), suspect) == seen(first, suspect)


@pytest.mark.parametrize("kind", ["high fret", "low fret"])
def test_every_pair_that_sounds_alike_is_told_apart_by_the_frets_named(kind: FindingKind) -> None:
    pairs = every_pair(kind)
    assert len(pairs) == LAST - 1
    for one, other in pairs:
        text = check(one, other, last=LAST)
        said = re.findall(
            r"over frets (\d+)–(\d+): (light over|rocking on) fret (\d+) shows that "
            r"fret (\d+) is (high|low)",
            text,
        )
        assert said, f"nothing tells {one} from {other}"
        left = re.search(
            r"If not, (light over|rocking on) fret \d+ with the edge over frets (\d+)–\d+ "
            r"shows that fret (\d+) is (high|low)",
            text,
        )
        assert (left is None) == (len(said) == 2)
        if left is not None:
            # one of the two shows there: which, the frets before have told
            wanted = "light" if left[1] == "light over" else "rocks"
            assert seen(int(left[2]), one) == seen(int(left[2]), other) == wanted
            assert {left[3], said[0][4]} == {str(one.fret), str(other.fret)}
        for first, last, sign, middle, fret, word in said:
            at = int(first)
            assert at >= 1, "the nut is no rest for an edge"
            assert (int(middle), int(last)) == (at + 1, at + 2)
            assert int(last) <= LAST
            named = Suspect(kind="high fret" if word == "high" else "low fret", fret=int(fret))
            assert named in (one, other)
            unnamed = other if named == one else one
            assert seen(at, named) == ("light" if sign == "light over" else "rocks")
            assert seen(at, unnamed) is None, "these frets hold both suspects"


@pytest.mark.parametrize("apart", [-3, -2, -1, 0, 1, 2, 3])
@pytest.mark.parametrize(
    ("kind", "other_kind"),
    [(k, o) for k in ("high fret", "low fret") for o in ("high fret", "low fret")],
)
def test_any_two_frets_near_each_other_are_told_apart(
    kind: FindingKind, other_kind: FindingKind, apart: int
) -> None:
    for fret in range(max(1, 1 - apart), min(LAST, LAST - apart) + 1):
        one = Suspect(kind=kind, fret=fret)
        other = Suspect(kind=other_kind, fret=fret + apart)
        if one == other:
            continue
        named = [telling(one, other, last=LAST), telling(other, one, last=LAST)]
        told = [frets for frets in named if frets is not None]
        assert told, f"nothing tells {one} from {other}"
        for frets in told:
            assert seen(frets[0], one) != seen(frets[0], other)


@pytest.mark.parametrize(("fret", "first"), [(22, 20), (9, 8), (1, 1)])
def test_one_suspect_alone_is_looked_at_where_it_shows_most(fret: int, first: int) -> None:
    suspect = Suspect(kind="high fret", fret=fret)
    assert telling(suspect, None, last=LAST) == (first, first + 1, first + 2)


def test_near_the_ends_of_the_neck_the_other_side_tells() -> None:
    top = check(Suspect(kind="high fret", fret=22), Suspect(kind="low fret", fret=21), last=LAST)
    assert "over frets 19–21: rocking on fret 20 shows that fret 21 is low" in top
    assert (
        "If not, light over fret 21 with the edge over frets 20–22 shows that fret 22 is high"
        in top
    )
    nut = check(Suspect(kind="high fret", fret=2), Suspect(kind="low fret", fret=1), last=LAST)
    assert "over frets 2–4: light over fret 3 shows that fret 2 is high" in nut


def test_no_check_is_made_up_on_a_neck_too_short_for_one() -> None:
    assert check(Suspect(kind="high fret", fret=2), Suspect(kind="low fret", fret=1), last=3) == ""
