"""Findings in words: evidence in numbers, rivals, strings that do not tell, what is accepted."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import pytest

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.causes import Cause, causes_of
from buzzscan.neck.clearance import setup_of
from buzzscan.neck.culprit import Found
from buzzscan.neck.deadspots import DeadSpot
from buzzscan.neck.findings import (
    contact_finding,
    dead_spot_finding,
    low_action_finding,
    relief_remarks,
)
from buzzscan.neck.positions import Place, judge_positions
from buzzscan.neck.verdict import Bars, Finding, FindingKind, Position
from buzzscan.spans import strings_named

Maker = Callable[..., MeasuredNote]
Positions = dict[Place, Position]
GUITAR = Guitar()
CAUSES = causes_of(setup_of(GUITAR), lowest=0)
PLACES = ((3, 8), (4, 7), (4, 8))


def cause(kind: FindingKind, *frets: int) -> Cause:
    return next(c for c in CAUSES if c.kind == kind and c.frets[: len(frets)] == frets)


FOUND = Found(
    cause=cause("high fret", 9),
    strings=(3, 4),
    untold=(),
    confidence=0.83,
    size_mm=0.12,
    low_mm=0.08,
    high_mm=0.171,
    places=PLACES,
    rival=None,
    rival_confidence=0.0,
)


@pytest.fixture
def neck(note_at: Maker) -> Callable[..., Positions]:
    """Return a maker of positions in which some places strike at a level."""

    def make(level_db: float = -25.0, *, lost: tuple[Place, ...] = ()) -> Positions:
        notes = [
            note_at(s, f, id=100 * s + f, contact=0.95, buzz_db=level_db)
            if (s, f) in PLACES
            else note_at(s, f, id=100 * s + f)
            for s in GUITAR.strings
            for f in range(23)
            if (s, f) not in lost
        ]
        positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
        return {(p.string, p.fret): p for p in positions}

    return make


def told(positions: Positions, *, in_mm: bool = True, **changes: object) -> Finding:
    found = dataclasses.replace(FOUND, **changes)  # type: ignore[arg-type]
    return contact_finding(found, positions, in_mm=in_mm, rank="About half of it.")


def test_a_high_fret_is_told_with_its_evidence(neck: Callable[..., Positions]) -> None:
    finding = told(neck())
    assert (finding.kind, finding.strings, finding.frets) == ("high fret", (3, 4), (9,))
    assert finding.notes == (308, 407, 408)
    assert finding.summary.startswith("Likely: fret 9 is high. Notes held behind fret 9 buzz (")
    assert "fret 8 on string 3, frets 7–8 on string 4" in finding.summary
    assert "fret 9 itself rings clear; the notes above it ring clear." in finding.summary
    assert (finding.height_mm, finding.height_low_mm, finding.height_high_mm) == (0.12, 0.08, 0.171)
    step = finding.next_step
    assert step.startswith("Lay a short straightedge over frets 9–11 (strings 3–4): light over")
    assert step.index("rocking on fret 7 shows that fret 8 is low") < step.index("level")


def test_a_relief_that_was_measured_too_little_is_told_first_of_all() -> None:
    remarks = [relief_remarks(dataclasses.replace(GUITAR, relief_mm=mm)) for mm in (0.0, 0.2, None)]
    first = "the guitar file gives 0.00 mm of relief, under 0.10 mm: set it first, then play again"
    assert remarks == [(first,), (), ()]


def test_a_straight_neck_with_enough_relief_asks_to_measure_it_again(
    neck: Callable[..., Positions],
) -> None:
    found = dataclasses.replace(FOUND, cause=cause("neck too straight"))
    again = "0.20 mm of relief was measured, which speaks against it: measure it again."
    sound = contact_finding(found, neck(), in_mm=True, rank="", enough_mm=0.2)
    assert again in sound.summary
    assert again not in contact_finding(found, neck(), in_mm=True, rank="").summary
    assert again not in contact_finding(FOUND, neck(), in_mm=True, rank="", enough_mm=0.2).summary


def test_widespread_buzz_names_the_strings_that_it_is_heard_on(
    neck: Callable[..., Positions],
) -> None:
    finding = low_action_finding((3, 4, 6), PLACES, neck(), confidence=0.9)
    assert finding.strings == (3, 4)
    assert "Strings 3–4 buzz in 3 places" in finding.summary


def test_notes_that_touch_only_while_picked_are_told(neck: Callable[..., Positions]) -> None:
    assert "while picked" not in told(neck()).summary
    one = told(neck(), touched=((3, 6),)).summary
    assert "One more touches a fret only while picked (fret 6 on string 3)." in one
    assert "2 more touch a fret" in told(neck(), touched=((3, 6), (4, 6))).summary


def test_without_a_setup_no_height_is_claimed(neck: Callable[..., Positions]) -> None:
    finding = told(neck(), in_mm=False)
    assert (finding.height_mm, finding.height_low_mm, finding.height_high_mm) == (None,) * 3
    assert "About half of it." in finding.summary
    assert "mm" not in finding.summary


def test_a_rival_is_named_with_what_tells_them_apart(neck: Callable[..., Positions]) -> None:
    finding = told(neck(), rival=cause("low fret", 8), rival_confidence=0.31)
    assert "Less likely (31 %): fret 8 is low." in finding.summary
    assert "Picked harder" in finding.summary
    other = told(neck(), rival=cause("low action"), rival_confidence=0.2)
    assert "Less likely (20 %): the action is low for this touch." in other.summary
    assert "Picked harder" not in other.summary
    assert "light over fret 10 if fret 9 is high" in other.summary


@pytest.mark.parametrize(
    ("own", "its", "words"),
    [
        (0.83, 0.12, "Less likely (12 %)"),
        (0.4, 0.4, "About as likely (40 %)"),
        (0.45, 0.36, "About as likely (36 %)"),
        (0.1, 0.8, "More likely (80 %)"),
    ],
)
def test_a_rival_is_weighed_by_its_odds(
    neck: Callable[..., Positions], own: float, its: float, words: str
) -> None:
    rival = cause("low fret", 8)
    summary = told(neck(), confidence=own, rival=rival, rival_confidence=its).summary
    assert f"{words}: fret 8 is low." in summary


def test_what_nobody_named_is_said_when_it_is_the_likeliest(
    neck: Callable[..., Positions],
) -> None:
    rest = "The other 81 % may be something else: a loose part, the finger, a chip under the"
    assert rest in told(neck(), confidence=0.19).summary
    rival = cause("low fret", 8)
    assert "The other" not in told(neck()).summary
    carried = told(neck(), confidence=0.19, rival=rival, rival_confidence=0.7)
    assert "The other" not in carried.summary
    third = told(neck(), confidence=0.19, rival=rival, rival_confidence=0.2)
    assert "The other 61 %" in third.summary


def test_low_action_names_its_rival_too(neck: Callable[..., Positions]) -> None:
    found = {"cause": cause("low action"), "rival": cause("neck too straight")}
    summary = told(neck(), **found, rival_confidence=0.3).summary
    assert "Less likely (30 %): the neck is too straight." in summary
    assert "Measure relief first" in summary


def test_strings_that_do_not_tell_are_said(neck: Callable[..., Positions]) -> None:
    assert "Strings 5–6 do not tell either way." in told(neck(), untold=(5, 6)).summary
    assert "String 5 does not tell either way." in told(neck(), untold=(5,)).summary
    assert "not tell either way" not in told(neck()).summary
    unplayed = neck(lost=tuple((s, f) for s in (5, 6) for f in range(23)))
    summary = told(unplayed, untold=(2, 5, 6)).summary
    assert "String 2 does not tell either way. Strings 5–6 were not played." in summary
    # on low action as well
    wide = told(neck(), cause=cause("low action"), strings=(4,), untold=(3,)).summary
    assert "String 4 buzzes in 2 places (frets 7–8 on string 4;" in wide
    assert "String 3 does not tell either way (string 3 at fret 8: marked, which" in wide
    free = told(neck(), cause=cause("low action"), strings=(4,), untold=(2,)).summary
    assert "String 2 does not tell either way." in free


def test_a_marked_string_that_does_not_tell_says_why(
    neck: Callable[..., Positions], note_at: Maker
) -> None:
    positions = neck()
    passes = [note_at(5, 8, id=k, contact=contact) for k, contact in enumerate((0.9, 0.03))]
    judged = judge_positions(GUITAR, passes, bars=Bars(), offset_cents=0.0)
    positions[5, 8] = next(p for p in judged if (p.string, p.fret) == (5, 8))
    summary = told(positions, untold=(5, 6)).summary
    disagree = "(string 5 at fret 8: passes disagree: contact 90 % and 3 %)"
    assert f"Strings 5–6 do not tell either way {disagree}." in summary
    alone = told(positions, strings=(3,), untold=(4,), places=((3, 8),)).summary
    assert "(string 4 at fret 8: marked, which alone shows little)" in alone


def test_one_place_is_named_once_with_its_level(neck: Callable[..., Positions]) -> None:
    summary = told(neck(), strings=(3,), places=((3, 8),)).summary
    assert "buzz (fret 8 on string 3, −25 dB);" in summary


def test_places_that_gave_no_note_are_said(neck: Callable[..., Positions]) -> None:
    finding = told(neck(lost=((4, 8),)))
    assert "fret 8 on string 4 gave no note when picked" in finding.summary
    assert finding.notes == (308, 407)


def test_slight_buzz_is_accepted_and_loud_buzz_is_not(neck: Callable[..., Positions]) -> None:
    assert "commonly accepted" in told(neck(-50.0)).summary
    assert "commonly accepted" not in told(neck(-25.0)).summary


def test_low_action_names_its_strings_and_how_many_places(
    neck: Callable[..., Positions],
) -> None:
    finding = low_action_finding((3, 4), PLACES, neck(), confidence=0.4)
    assert (finding.kind, finding.strings, finding.frets) == ("low action", (3, 4), (7, 8))
    # the doubt is about the cause: that the strings buzz is heard
    assert finding.summary.startswith(
        "Possible: the action is low for this touch. Strings 3–4 buzz in 3 places ("
    )
    assert "A hard touch sounds the same." in finding.summary
    one = low_action_finding((3,), ((3, 8),), neck(), confidence=0.8).summary
    assert "String 3 buzzes in 1 place (" in one
    assert "hard touch" not in one


def test_nothing_is_said_to_buzz_where_nothing_is_marked(neck: Callable[..., Positions]) -> None:
    # places beside those that strike: all of them are clean
    clean = ((3, 4), (4, 3), (4, 4))
    faintly = "touch a fret only while picked, or buzz too faintly to be marked"
    wide = low_action_finding((3, 4), clean, neck(), confidence=0.8).summary
    assert f"Strings 3–4 {faintly}, in 3 places (fret 4 on string 3, frets 3–4 on" in wide
    assert "String 3 touches" in low_action_finding((3,), clean, neck(), confidence=0.8).summary
    high = told(neck(), cause=cause("high fret", 5), places=clean).summary
    assert f"Notes held behind fret 5 {faintly}" in high
    for words in ("dB", "buzz in", "slight"):
        assert not any(words in summary for summary in (wide, high))


def test_evidence_is_named_on_the_strings_of_the_finding_alone(
    neck: Callable[..., Positions],
) -> None:
    finding = told(neck(), strings=(4,), untold=(3,))
    assert "(frets 7–8 on string 4; most on string 4" in finding.summary
    assert finding.notes == (308, 407, 408)


def test_a_dead_spot_names_every_place_that_its_resonance_takes(
    neck: Callable[..., Positions],
) -> None:
    spot = DeadSpot(
        string=3,
        fret=7,
        frets=(7, 8),
        ratio=2.4,
        pitch_hz=GUITAR.pitch_hz(3, 7),
        places=((2, 3), (3, 7), (3, 8)),
        ratios=(1.8, 2.4, 1.6),
        followers=((2, 3),),
        silent=(),
        confidence=0.95,
    )
    finding = dead_spot_finding(spot, neck())
    assert (finding.strings, finding.frets) == ((2, 3), (3, 7, 8))
    assert finding.notes == (203, 307, 308)
    # D4, A4 = 440 Hz
    assert "falls 2.4 times as fast as this string usually does" in finding.summary
    assert "294 Hz" in finding.summary
    assert "on string 2 at fret 3" in finding.summary


def test_a_dead_open_string_is_called_one(neck: Callable[..., Positions]) -> None:
    spot = DeadSpot(
        string=3,
        fret=0,
        frets=(0,),
        ratio=2.4,
        pitch_hz=GUITAR.pitch_hz(3, 0),
        places=((3, 0),),
        ratios=(2.4,),
        followers=(),
        silent=((4, 5),),
        confidence=0.8,
    )
    summary = dead_spot_finding(spot, neck()).summary
    assert "Open string 3 falls 2.4 times" in summary
    assert "fret 0" not in summary


def test_strings_are_named() -> None:
    assert strings_named((6,)) == "string 6"
    assert strings_named((4, 5, 6)) == "strings 4–6"
