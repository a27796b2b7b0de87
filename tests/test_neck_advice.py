"""Advice: every cause has a check by hand, and the caution it needs before the work."""

from __future__ import annotations

import typing

import pytest

from buzzscan.neck.advice import ADVICE, ORDER, fret_check, how_sure, tell_apart
from buzzscan.neck.straightedge import Suspect, sign
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


@pytest.mark.parametrize("kind", ["low nut slot", "high nut slot"])
def test_work_on_a_nut_warns_of_dust_fumes_and_the_file(kind: FindingKind) -> None:
    text = ADVICE[kind].text()
    for care in ("Nut files cut", "dust mask and eye protection", "fresh air", "qualified"):
        assert text.index(care) < text.index(ADVICE[kind].work)


def test_a_high_fret_1_leaves_as_little_gap_as_a_low_slot() -> None:
    # the gap over fret 1 is measured with the string held at fret 2 or 3: it needs the fret level
    assert "high fret 1" in ADVICE["low nut slot"].doubt
    assert sign(Suspect(kind="high fret", fret=1), last=22).startswith(
        "a short straightedge over frets 1–3 shows light over fret 2"
    )


def test_the_check_of_a_fret_names_only_frets_that_tell() -> None:
    text = fret_check(Suspect(kind="high fret", fret=9), last=22, where="strings 1–4")
    assert text.startswith(
        "Lay a short straightedge over frets 9–11 (strings 1–4): light over fret 10 shows that "
        "fret 9 is high. Lay it over frets 6–8: rocking on fret 7 shows that fret 8 is low."
    )
    assert "Frets 8–10 alone do not tell" in text


def test_a_rival_that_the_own_check_rules_out_is_not_checked_twice() -> None:
    told = tell_apart("high fret", (9,), "low fret", (8,), last=22)
    assert told == tell_apart("low fret", (8,), "high fret", (9,), last=22)
    assert "Picked harder" in told
    assert "straightedge" not in told


def test_other_pairs_are_told_apart_by_hand() -> None:
    assert "over frets 4–6: light over fret 5 shows that fret 5 is low" in tell_apart(
        "high fret", (9,), "low fret", (5,), last=22
    ).replace("Lay it ", "")
    # two high frets side by side: the edge rocks on the one that is high
    two = tell_apart("high fret", (9,), "high fret", (10,), last=22)
    assert "8–10: rocking on fret 9" in two
    assert "9–11: rocking on fret 10" in two
    one = tell_apart("high fret", (9,), "neck too straight", (1, 2, 3), last=22)
    assert one == tell_apart("neck too straight", (1, 2, 3), "high fret", (9,), last=22)
    assert one.startswith("Measure relief first")
    assert "light over fret 10 if fret 9 is high" in one
    assert "Measure relief first" in tell_apart("low action", (), "neck too straight", (), last=22)
    # nothing is made up for a pair that is never confused
    assert tell_apart("saddle", (), "dead spot", (7,), last=22) == ""
