"""Numbers and places are said the same way everywhere."""

from __future__ import annotations

import pytest

from buzzscan.report import words


@pytest.mark.parametrize(
    ("value", "decimals", "signed", "said"),
    [
        (None, 1, False, "–"),
        (-0.04, 1, True, "0.0"),
        (-31.25, 0, False, "−31"),
        (2.0, 1, True, "+2.0"),
        (-2.0, 1, True, "−2.0"),
        (0.125, 2, False, "0.12"),
    ],
)
def test_number(value: float | None, decimals: int, signed: bool, said: str) -> None:  # noqa: FBT001
    assert words.number(value, decimals, signed=signed) == said


def test_quantity_keeps_number_and_unit_together() -> None:
    assert words.quantity(1.5, 2, "mm") == "1.50\u00a0mm"
    assert words.quantity(None, 2, "mm") == "–", "no unit without a value"


@pytest.mark.parametrize(
    ("value_s", "said"),
    [(0.0, "0:00.00"), (59.996, "1:00.00"), (61.5, "1:01.50"), (600.25, "10:00.25")],
)
def test_clock(value_s: float, said: str) -> None:
    assert words.clock(value_s) == said


# Scientific pitch notation as in ISO 16 (A4 = 440 Hz) and MIDI (A4 = 69, C4 = 60).
@pytest.mark.parametrize(
    ("midi", "name"), [(69, "A4"), (60, "C4"), (40, "E2"), (59.8, "C4"), (61, "C♯4"), (23, "B0")]
)
def test_note_name(midi: float, name: str) -> None:
    assert words.note_name(midi) == name


@pytest.mark.parametrize(
    ("tuning", "names"),
    [
        (("E2", "A2"), "C♯4 E♭4 F♯4 G♯4 B♭4"),
        (("D#2", "G#2"), "C♯4 D♯4 F♯4 G♯4 A♯4"),
        (("E♭2", "ab2"), "D♭4 E♭4 G♭4 A♭4 B♭4"),
        (("Eb2-8c", "F#2", "D♯3"), "C♯4 D♯4 F♯4 G♯4 B♭4"),
        (("C2", "Ab2", "F#3"), "C♯4 E♭4 F♯4 A♭4 B♭4"),
    ],
)
def test_notes_are_spelled_as_the_tuning_is(tuning: tuple[str, ...], names: str) -> None:
    told = [words.note_name(midi, tuning) for midi in (61, 63, 66, 68, 70)]
    assert " ".join(told) == names


@pytest.mark.parametrize(
    ("written", "said"),
    [("Ab2", "A♭2"), ("b1", "B1"), ("bb1", "B♭1"), ("F##3", "F♯♯3"), ("E2-8c", "E2−8c")],
)
def test_a_note_is_set_with_its_signs(written: str, said: str) -> None:
    assert words.note(written) == said


@pytest.mark.parametrize(
    ("strings", "frets", "said"),
    [
        ((4, 5, 6), (10,), "fret\u00a010, strings\u00a04–6"),
        ((2,), (0,), "open string, string\u00a02"),
        ((), (), "whole instrument"),
        ((1,), (), "string\u00a01"),
        ((), (1, 2, 3), "frets\u00a01–3"),
    ],
)
def test_place(strings: tuple[int, ...], frets: tuple[int, ...], said: str) -> None:
    assert words.place(strings, frets) == said


def test_joined_and_counted() -> None:
    assert words.joined(["a"]) == "a"
    assert words.joined(["a", "b", "c"]) == "a, b and c"
    assert words.count(1, "note") == "1\u00a0note"
    assert words.count(2, "buzz", "buzzes") == "2\u00a0buzzes"


@pytest.mark.parametrize(
    ("share", "said"), [(1.0, "100"), (0.9958, "over 99"), (0.9949, "99"), (0.0, "0")]
)
def test_what_is_not_certain_is_never_a_hundred_percent(share: float, said: str) -> None:
    assert words.percent(share) == f"{said}\u00a0%"


def test_numbers_keep_their_units() -> None:
    told = words.held("most at fret 8 (−4 dB), 0.11 mm and 15 %; 3 strings, 12 seconds")
    assert told == "most at fret 8 (−4\u00a0dB), 0.11\u00a0mm and 15\u00a0%; 3 strings, 12 seconds"


def test_remarks_are_sentences() -> None:
    assert words.sentence("the tuning looks wrong") == "The tuning looks wrong."
    assert words.sentence("take.wav was passed over.") == "take.wav was passed over."
    assert words.sentence("") == ""


def test_a_step_is_said_once() -> None:
    assert words.each_once(["a", "b", "a", ""]) == ("a", "b", "As for finding 1.", "")


def test_days_and_levels_in_words() -> None:
    assert (words.date("2026-03-04"), words.date("")) == ("4\u00a0March 2026", "")
    assert words.level(-200.0) == "digital silence"
    assert words.level(-74.26) == "−74.3\u00a0dBFS"


def test_positions_are_counted_by_what_is_wrong_with_them() -> None:
    said = [
        words.positions_that(v, n).replace("\u00a0", " ") for v, n in (("buzz", 1), ("dead", 3))
    ]
    assert said == ["1 position buzzes", "3 positions are dead"]
