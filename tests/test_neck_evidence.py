"""Contact evidence: passes pooled, what is usual taken off, lost notes counted."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.evidence import Evidence, evidence_of
from buzzscan.neck.positions import by_position, judge_positions
from buzzscan.neck.verdict import Bars

Maker = Callable[..., MeasuredNote]
GUITAR = Guitar(tuning=("D3", "G3", "B3", "E4"), frets=12)
PLACE = (2, 5)
AT = PLACE[0] - 1, PLACE[1]


def heard(
    note_at: Maker,
    contacts: tuple[float, ...],
    *,
    buzz_db: tuple[float, ...] = (),
    silent: Mapping[tuple[int, int], int] | None = None,
    leave_out: bool = False,
) -> Evidence:
    """Return the evidence of a clean neck with these passes at one place."""
    notes = [
        note_at(string, fret, contact=0.002)
        for string in GUITAR.strings
        for fret in range(13)
        for _ in range(2)
        if (string, fret) != PLACE
    ]
    for i, contact in enumerate(() if leave_out else contacts):
        level = buzz_db[i] if buzz_db else -60.0
        notes.append(note_at(*PLACE, contact=contact, buzz_db=level))
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    return evidence_of(GUITAR, positions, by_position(notes), silent=silent or {})


def test_two_passes_that_agree_are_surer_than_one(note_at: Maker) -> None:
    one, two = (heard(note_at, (0.5,) * n).contact[AT] for n in (1, 2))
    assert 0.5 < one < two < 1.0


def test_a_pass_that_rings_clear_speaks_against(note_at: Maker) -> None:
    one, split, both = (heard(note_at, c).contact[AT] for c in ((0.8,), (0.8, 0.002), (0.8, 0.8)))
    assert split < one < both


def test_what_is_usual_in_the_take_says_nothing(note_at: Maker) -> None:
    assert heard(note_at, (0.012, 0.012)).contact[AT] <= 0.5


def test_what_is_usual_is_so_at_its_pitch(note_at: Maker) -> None:
    # on string 4 every note below fret 7 is taken for a little contact; the others are not
    def contact(string: int, fret: int) -> float:
        return 0.05 if (string, fret) in {(1, 10), (4, 3)} or (string == 4 and fret < 7) else 0.001

    notes = [
        note_at(string, fret, contact=contact(string, fret))
        for string in GUITAR.strings
        for fret in range(13)
    ]
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    found = evidence_of(GUITAR, positions, by_position(notes), silent={}).contact
    assert found[3, 3] < 0.6
    assert found[0, 10] > 0.7


def test_what_was_not_played_is_not_heard(note_at: Maker) -> None:
    evidence = heard(note_at, (), leave_out=True)
    assert np.isnan(evidence.contact[AT])
    assert not evidence.struck[AT]
    assert np.isfinite(np.delete(evidence.contact, AT[0] * 13 + AT[1])).all()


def test_a_note_lost_in_both_passes_speaks_for_contact(note_at: Maker) -> None:
    once, twice = (
        heard(note_at, (), silent={PLACE: n}, leave_out=True).contact[AT] for n in (1, 2)
    )
    assert 0.9 < once < twice
    # one pass lost and one that rings clear: somebody may have left it out
    assert heard(note_at, (0.002,), silent={PLACE: 1}).contact[AT] < 0.7


def touched(
    note_at: Maker, attack: float | None, *, struck: float | None, others: float = 0.2
) -> float:
    """Return the log odds of a touch where one attack stands out, beside notes that strike."""
    notes = [
        note_at(string, fret, contact=0.002, attack_contact=others)
        for string in GUITAR.strings
        for fret in range(13)
        if (string, fret) != PLACE and string != 4
    ]
    notes += [note_at(4, fret, contact=0.99, attack_contact=struck) for fret in range(13)]
    notes.append(note_at(*PLACE, contact=0.002, attack_contact=attack))
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    return float(evidence_of(GUITAR, positions, by_position(notes), silent={}).touched[AT])


def test_a_touch_in_the_attack_counts_where_it_is_heard(note_at: Maker) -> None:
    assert touched(note_at, 0.9, struck=0.95) > 1.5
    assert touched(note_at, 0.1, struck=0.95) < -1.0


def test_it_says_nothing_where_what_strikes_sounds_like_any_other(note_at: Maker) -> None:
    assert abs(touched(note_at, 0.9, struck=0.2)) < abs(touched(note_at, 0.9, struck=0.95)) / 2
    assert abs(touched(note_at, 0.1, struck=0.2)) < 0.2


def test_an_attack_that_is_not_told_says_nothing(note_at: Maker) -> None:
    assert touched(note_at, None, struck=0.95) == 0.0


def test_a_guitar_whose_every_attack_looks_like_a_touch_is_not_touched_everywhere(
    note_at: Maker,
) -> None:
    assert touched(note_at, 0.9, struck=0.99, others=0.2) > 1.5
    assert touched(note_at, 0.9, struck=0.99, others=0.9) < 0.0
