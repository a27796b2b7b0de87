"""Causes under spans of strings: families, rivals, and what each string has to say."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from evidence_by_hand import evidence

from buzzscan.guitar import Guitar
from buzzscan.neck.causes import causes_of
from buzzscan.neck.clearance import setup_of
from buzzscan.neck.strikes import strike_model
from buzzscan.neck.weighing import Search, search_over

SETUP = setup_of(Guitar(scale_mm=647.7, action_12_mm=(1.6,) * 6, relief_mm=0.1, nut_gap_mm=0.4))
LEVEL = SETUP.profile_mm


def search(struck: set[tuple[int, int]]) -> Search:
    contact = np.full(SETUP.heights_mm.shape, 0.003)
    for string, fret in struck:
        contact[string - 1, fret] = 0.97
    model = strike_model(SETUP, evidence(contact), lowest=0)
    return search_over(model, causes_of(SETUP, lowest=0))


def behind(fret: int, strings: tuple[int, ...]) -> set[tuple[int, int]]:
    return {(s, fret - k) for s in strings for k in (1, 2)}


def test_every_run_of_strings_is_weighed_and_its_shares_sum_to_one() -> None:
    made = search(set())
    assert len(made.spans) == 21, "six single strings, five pairs, … one of all"
    assert np.exp(made.log_share).sum(axis=1) == pytest.approx(1.0)


def test_nothing_heard_speaks_for_nothing() -> None:
    assert search(set()).weigh(LEVEL).pick().gain < -1.6


def test_a_family_is_at_least_its_best_member_and_other_shapes_stand_behind_it() -> None:
    weighed = search(behind(9, (2, 3, 4))).weigh(LEVEL)
    alone = weighed.scores.max(axis=1)
    rises = [i for i, c in enumerate(weighed.causes) if c.kind == "rising fret end"]
    others = np.delete(np.arange(len(alone)), rises)
    assert (weighed.families[others] >= alone[others] - 1e-9).all()
    assert sum(weighed.families[i] > -1e5 for i in rises) == 1


def test_the_pick_is_the_fret_and_the_strings() -> None:
    weighed = search(behind(9, (2, 3, 4))).weigh(LEVEL)
    pick = weighed.pick()
    assert weighed.causes[pick.index].kind == "high fret"
    assert weighed.causes[pick.index].frets == (9,)
    assert pick.span == (1, 4)


def test_a_cause_is_taken_once_under_the_same_strings() -> None:
    weighed = search(behind(9, (2, 3, 4))).weigh(LEVEL)
    first = weighed.pick()
    second = weighed.pick([first])
    assert weighed.causes[second.index].name != weighed.causes[first.index].name
    # under strings apart from those it may be found again
    apart = dataclasses.replace(first, span=(4, 6))
    assert weighed.pick([apart]) == first


def test_a_fault_elsewhere_is_no_rival_and_the_same_notes_are() -> None:
    far, near = ({(s, fret) for s in (2, 3, 4)} for fret in (15, 8))
    made = search(near | far)
    weighed = made.weigh(LEVEL)
    index = next(
        i for i, c in enumerate(weighed.causes) if (c.kind, c.frets) == ("high fret", (9,))
    )
    lead = int(weighed.leaders[index])
    profile = LEVEL.copy()
    first, last = weighed.spans[lead]
    profile[first:last] += 0.14 * weighed.causes[index].shape
    confidence, rival, share = weighed.rivalry(index, made.weigh(profile))
    assert rival is not None
    # the low fret before it explains the same notes; the frets about 16 other ones
    assert (weighed.causes[rival].kind, weighed.causes[rival].frets) == ("low fret", (8,))
    assert 0.3 < confidence < 1.0 - share + 1e-9


def test_each_string_speaks_for_itself() -> None:
    weighed = search(behind(9, (2, 3, 4))).weigh(LEVEL)
    index = weighed.pick().index
    inside, ratio = weighed.membership(index), weighed.string_ratios(index)
    assert (inside[[1, 2, 3]] > 0.9).all()
    assert (inside[[0, 5]] < 0.2).all()
    assert (ratio[[1, 2, 3]] > np.log(2.0)).all()
    assert (ratio[[0, 4, 5]] < 0.0).all()


def test_picks_are_added_under_their_strings_alone() -> None:
    made = search(behind(9, (2, 3, 4)))
    pick = made.weigh(LEVEL).pick()
    change = made.with_picks(LEVEL, [pick]) - LEVEL
    assert change[1:4, 9] == pytest.approx(pick.size)
    assert np.count_nonzero(change) == 3
