"""Advice: every cause has a check by hand, and the caution it needs before the work."""

from __future__ import annotations

import typing

import pytest

from buzzscan.neck.advice import ADVICE, ORDER, how_sure, tell_apart
from buzzscan.neck.verdict import FindingKind

KINDS = typing.get_args(FindingKind)


def test_every_cause_has_advice_and_a_place_in_the_order() -> None:
    assert set(ADVICE) == set(KINDS)
    assert sorted(ORDER) == sorted(KINDS)


def test_the_trades_order_is_kept() -> None:
    order = [
        "neck too straight",
        "low nut slot",
        "low action",
        "high fret",
        "saddle",
        "retake",
    ]
    assert [kind for kind in ORDER if kind in order] == order


@pytest.mark.parametrize("kind", ["high fret", "low fret", "rising fret end"])
def test_fret_work_names_dust_and_eyes(kind: FindingKind) -> None:
    text = ADVICE[kind].text()
    for care in ("dust mask and eye protection", "slacken the strings", "cover the pickups"):
        assert text.index(care) < text.index(ADVICE[kind].work)


def test_the_truss_rod_is_turned_with_care() -> None:
    text = ADVICE["neck too straight"].text()
    assert "in small steps" in text
    assert text.index("small steps") < text.index("ease the rod"), "a caution after it is too late"
    assert "qualified repairer" in text


@pytest.mark.parametrize("kind", KINDS)
def test_the_check_comes_before_the_work(kind: FindingKind) -> None:
    advice = ADVICE[kind]
    assert advice.check
    assert advice.work
    assert advice.text().startswith(advice.check.replace("{where}", ""))
    assert "{" not in advice.text("fret 9")


@pytest.mark.parametrize(
    ("confidence", "word"), [(0.95, "Very likely"), (0.75, "Likely"), (0.4, "Possible")]
)
def test_probabilities_have_words(confidence: float, word: str) -> None:
    assert how_sure(confidence) == word


@pytest.mark.parametrize("kind", ["low nut slot", "high nut slot", "low action", "saddle"])
def test_work_on_a_string_warns_of_its_tension(kind: FindingKind) -> None:
    assert "tension" in ADVICE[kind].text()


def test_a_dead_spot_is_not_sent_to_the_file() -> None:
    assert "Fret work will not cure it" in ADVICE["dead spot"].text()


def test_causes_are_told_apart_by_hand_either_way_round() -> None:
    one = tell_apart({"high fret": (9,), "low fret": (8,)})
    assert one == tell_apart({"low fret": (8,), "high fret": (9,)})
    assert "frets 8–10" in one
    assert "straightedge" in tell_apart({"high fret": (9,)})
    assert "across fret 5 shows light" in tell_apart({"high fret": (9,), "low fret": (5,)})
    # nothing is made up for a pair that is never confused
    assert tell_apart({"saddle": (), "dead spot": (7,)}) == ""
