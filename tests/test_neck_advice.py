"""Advice: every cause has a check by hand and the caution it needs."""

from __future__ import annotations

from typing import get_args

import pytest

from buzzscan.neck.advice import ADVICE, ORDER, how_sure, listed
from buzzscan.neck.verdict import FindingKind

CUTS = ("high fret", "low fret", "rising fret end")
"""Work that files metal."""
PULLS = ("low nut slot", "high nut slot", "low action", "saddle")
"""Work under a string at tension."""


def test_every_cause_has_advice_and_a_place_in_the_order() -> None:
    kinds = set(get_args(FindingKind))
    assert set(ADVICE) == kinds
    assert set(ORDER) == kinds
    assert len(ORDER) == len(kinds)


def test_the_order_is_relief_nut_action_frets_intonation() -> None:
    # common practice, no source: each step changes what the next one measures
    steps = ("neck too straight", "low nut slot", "low action", "high fret", "saddle", "retake")
    assert sorted(steps, key=ORDER.index) == list(steps)


@pytest.mark.parametrize("kind", CUTS)
def test_filing_warns_of_dust_and_eyes(kind: FindingKind) -> None:
    text = ADVICE[kind].text("fret 9")
    assert "mask" in text
    assert "eye" in text
    assert "{where}" not in text


@pytest.mark.parametrize("kind", PULLS)
def test_work_on_a_string_warns_of_its_tension(kind: FindingKind) -> None:
    assert "tension" in ADVICE[kind].text()


def test_the_rod_is_turned_little_and_never_by_force() -> None:
    text = ADVICE["neck too straight"].text()
    assert "never by force" in text
    assert "qualified repairer" in text


def test_a_check_by_hand_comes_before_the_work() -> None:
    for kind, advice in ADVICE.items():
        assert advice.check, kind
        assert advice.text("fret 9").startswith(advice.check.replace("{where}", "fret 9"))


def test_a_dead_spot_is_not_sent_to_the_file() -> None:
    assert "Fret work will not cure it" in ADVICE["dead spot"].text()


@pytest.mark.parametrize(
    ("confidence", "words"),
    [(0.95, "Very likely"), (0.9, "Very likely"), (0.7, "Likely"), (0.69, "Possible")],
)
def test_probabilities_in_words(confidence: float, words: str) -> None:
    assert how_sure(confidence) == words


@pytest.mark.parametrize(
    ("values", "text"), [([3], "3"), ([1, 2, 3, 7], "1–3, 7"), ((4, 5), "4–5"), ([], "")]
)
def test_runs_of_numbers(values: list[int], text: str) -> None:
    assert listed(values) == text
