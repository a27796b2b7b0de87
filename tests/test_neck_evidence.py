"""Contact evidence: passes gathered into looks, what is usual taken off, lost notes counted."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping

import numpy as np
import pytest
from scipy.stats import norm

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
    one, two = (heard(note_at, (0.5,) * n).all_contact[AT] for n in (1, 2))
    assert 0.5 < one < two < 1.0


def test_a_pass_that_rings_clear_speaks_against(note_at: Maker) -> None:
    one, split, both = (
        heard(note_at, c).all_contact[AT] for c in ((0.8,), (0.8, 0.002), (0.8, 0.8))
    )
    assert split < one < both


def test_what_is_usual_in_the_take_says_nothing(note_at: Maker) -> None:
    assert heard(note_at, (0.012, 0.012)).all_contact[AT] <= 0.5


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
    found = evidence_of(GUITAR, positions, by_position(notes), silent={}).all_contact
    assert found[3, 3] < 0.6
    assert found[0, 10] > 0.7


def test_what_was_not_played_is_not_heard(note_at: Maker) -> None:
    evidence = heard(note_at, (), leave_out=True)
    assert not evidence.judged[AT]
    assert not evidence.struck[AT]
    assert np.delete(evidence.judged, AT[0] * 13 + AT[1]).all()


def test_a_note_lost_in_both_passes_speaks_for_contact(note_at: Maker) -> None:
    once, twice = (
        heard(note_at, (), silent={PLACE: n}, leave_out=True).all_contact[AT] for n in (1, 2)
    )
    assert 0.9 < once < twice
    # one pass lost and one that rings clear: somebody may have left it out
    assert heard(note_at, (0.002,), silent={PLACE: 1}).all_contact[AT] < 0.7


def touched(
    note_at: Maker, attack: float | None, *, struck: float | None, others: float = 0.2
) -> float:
    """Return the log odds of a touch where one attack stands out, beside notes that strike."""
    ids = itertools.count()
    notes = [
        note_at(string, fret, id=next(ids), contact=0.002, attack_contact=others)
        for string in GUITAR.strings
        for fret in range(13)
        if (string, fret) != PLACE and string != 4
    ]
    notes += [
        note_at(4, fret, id=next(ids), contact=0.99, attack_contact=struck) for fret in range(13)
    ]
    notes.append(note_at(*PLACE, id=next(ids), contact=0.002, attack_contact=attack))
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    return float(evidence_of(GUITAR, positions, by_position(notes), silent={}).all_touched[AT])


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


def scattered(note_at: Maker, *, scatter: float, string: int | None = None) -> list[float]:
    """Return what attacks of log odds 3 at the last fret say of a touch, by string.

    All others are free, about -2.5, and scatter by 1, on the string that is named, or on all, by
    `scatter`; the first fret of each strikes and is heard to touch.
    """
    free = norm.ppf((np.arange(33) * 20 % 33 + 0.5) / 33)
    ids = itertools.count()
    notes = []
    for s in GUITAR.strings:
        own = scatter if string in {None, s} else 1.0
        odds = np.append(own * free - 2.5, [6.0, 3.0])
        frets = [*np.repeat(np.delete(np.arange(12), 1), 3), 1, 12]
        for fret, attack in zip(frets, 1.0 / (1.0 + np.exp(-odds)), strict=True):
            contact = 0.99 if fret == 1 else 0.002
            one = {"id": next(ids), "contact": contact, "attack_contact": float(attack)}
            notes.append(note_at(s, int(fret), **one))
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    touched = evidence_of(GUITAR, positions, by_position(notes), silent={}).all_touched
    return touched[:, 12].tolist()


def test_attacks_that_scatter_say_less_of_a_touch(note_at: Maker) -> None:
    narrow, wide = (scattered(note_at, scatter=by) for by in (1.0, 3.0))
    assert min(narrow) > 1.5
    assert all(w < n - 0.7 for w, n in zip(wide, narrow, strict=True))


def test_how_one_string_s_attacks_scatter_is_that_string_s(note_at: Maker) -> None:
    every, one = scattered(note_at, scatter=1.0), scattered(note_at, scatter=3.0, string=3)
    lost = np.subtract(every, one)
    assert lost[2] > 0.7
    assert lost[[0, 1, 3]].max() < 0.3 * lost[2]


def picked(note_at: Maker, *, over_db: float) -> Evidence:
    """Return the evidence of a neck played twice, one pass over one place louder by some dB."""
    ids = itertools.count()
    notes = [
        note_at(string, fret, id=next(ids), contact=0.002, attack_dbfs=-20.0 - 0.3 * fret)
        for string in GUITAR.strings
        for fret in range(13)
        for _ in range(2)
        if (string, fret) != PLACE
    ]
    usual_dbfs = -20.0 - 0.3 * PLACE[1]
    for contact, level_dbfs in ((0.002, usual_dbfs), (0.9, usual_dbfs + over_db)):
        notes.append(note_at(*PLACE, id=next(ids), contact=contact, attack_dbfs=level_dbfs))
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    return evidence_of(GUITAR, positions, by_position(notes), silent={})


def test_what_stands_out_by_its_level_was_picked_harder(note_at: Maker) -> None:
    evidence = picked(note_at, over_db=3.0)
    # 3 dB is 0.35 in ln, a part of which is the pick; the rest of the neck lies on its own line
    assert 0.2 < evidence.harder[0][AT] < 0.35
    assert np.abs(np.delete(evidence.harder[0], AT[0] * 13 + AT[1])).max() < 0.01
    assert np.abs(evidence.harder[1]).max() < 0.01


def test_the_harder_pass_is_the_first_look(note_at: Maker) -> None:
    louder, softer = (picked(note_at, over_db=by).contact[:, *AT] for by in (3.0, -3.0))
    assert louder[0] > 0.5 > louder[1]
    assert softer[0] < 0.5 < softer[1]


def test_no_level_tells_more_than_so_much(note_at: Maker) -> None:
    loud, louder = (picked(note_at, over_db=by).harder[0][AT] for by in (10.0, 20.0))
    assert loud == louder < 0.5


def test_a_take_played_harder_is_harder(note_at: Maker) -> None:
    ids = itertools.count()
    notes = [
        note_at(s, f, id=next(ids), contact=0.002, attack_dbfs=-20.0 + 3.0 * take, recording=take)
        for s in GUITAR.strings
        for f in range(13)
        for take in (0, 1)
    ]
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    harder, softer = evidence_of(GUITAR, positions, by_position(notes), silent={}).harder
    assert (harder - softer > 0.2).all()


def many(
    note_at: Maker, passes: int, *, silent: int = 0, **measures: float | tuple[float, ...] | None
) -> Evidence:
    """Return the evidence of a neck with so many passes over one place, the rest heard once.

    String 4 strikes and is heard to touch as it is picked.
    """
    ids = itertools.count()
    usual = {s: (0.99, 0.9999) if s == 4 else (0.002, 0.1) for s in GUITAR.strings}
    notes = [
        note_at(s, f, id=next(ids), contact=c, attack_contact=a, attack_dbfs=-20.0)
        for s, (c, a) in usual.items()
        for f in range(13)
        if (s, f) != PLACE
    ]
    for i in range(passes):
        own = {k: v[i] if isinstance(v, tuple) else v for k, v in measures.items()}
        notes.append(note_at(*PLACE, **{"id": next(ids), "attack_dbfs": -20.0, **own}))
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    return evidence_of(GUITAR, positions, by_position(notes), silent={PLACE: silent})


def test_three_passes_are_two_looks_the_harder_first(note_at: Maker) -> None:
    levels = (-23.0, -20.0, -17.0)
    evidence = many(note_at, 3, contact=(0.002, 0.9, 0.9), attack_dbfs=levels)
    first, second = evidence.contact[:, *AT]
    assert first > 0.9
    assert second < 0.5
    assert evidence.harder[0][AT] > 0.1 > -0.1 > evidence.harder[1][AT]


def test_many_passes_say_no_more_of_a_touch_than_a_look_may(note_at: Maker) -> None:
    few, more = (
        many(note_at, n, contact=0.002, attack_contact=0.9999).touched[:, *AT] for n in (2, 8)
    )
    assert few == pytest.approx(0.85 * np.log(30.0), rel=0.05)
    assert more == pytest.approx(np.log(60.0))


def test_what_sounds_after_the_attack_tells_of_a_touch_as_well(note_at: Maker) -> None:
    def touched(contact: float, attack: float | None) -> float:
        return float(many(note_at, 1, contact=contact, attack_contact=attack).touched[0][AT])

    # neither strikes; one is a little less like a free string
    free, less = (touched(contact, 0.5) for contact in (0.002, 0.1))
    assert less > free + 0.8
    # a strike is no surer a touch for being a plainer one
    assert touched(0.999, 0.5) == touched(0.99, 0.5) < free + 3.0
    # an attack that tells nothing leaves it at that
    assert touched(0.1, None) == 0.0


def test_a_strike_is_no_plainer_for_being_repeated(note_at: Maker) -> None:
    def plain(passes: int, contact: float) -> float:
        return float(many(note_at, passes, contact=contact).plain[0][AT])

    assert plain(1, 0.3) == plain(2, 0.3) == pytest.approx(plain(8, 0.3))
    assert plain(1, 0.3) + 0.2 < plain(1, 0.99)
    assert plain(1, 0.999) == 0.8
    # what was lost tells nothing of it
    silent = many(note_at, 1, silent=1, contact=0.999).plain[:, *AT]
    assert sorted(silent) == [0.5, 0.8]


def test_a_pass_that_gave_no_note_is_a_look_of_its_own(note_at: Maker) -> None:
    looks = many(note_at, 1, silent=1, contact=0.002).contact[:, *AT]
    assert sorted(looks > 0.5) == [False, True]


def test_a_string_of_few_notes_tells_no_strength(note_at: Maker) -> None:
    notes = [
        note_at(2, fret, id=fret, contact=0.002, attack_dbfs=-20.0 + 3.0 * fret)
        for fret in (1, 5, 9)
    ]
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    assert not evidence_of(GUITAR, positions, by_position(notes), silent={}).harder.any()


def test_no_string_is_free_up_to_more_than_so_much(note_at: Maker) -> None:
    """A string that touches nearly everywhere is not taken for one that starts like that."""
    wide, wider = (scattered(note_at, scatter=by) for by in (6.0, 12.0))
    assert wide == pytest.approx(wider, abs=0.01)
    assert min(wider) > 0.3


def test_a_string_of_few_notes_is_taken_for_one_like_the_others(note_at: Maker) -> None:
    ids = itertools.count()
    place, few = (4, 12), (0.02, 0.5)
    usual = [(s, f, 0.03 if (s + f) % 2 else 0.06) for s in (1, 2, 3) for f in range(13)]
    notes = [
        note_at(s, f, id=next(ids), contact=0.002, attack_contact=a)
        for s, f, a in [*usual, *((4, f, a) for f, a in enumerate(few)), (*place, 0.9)]
    ]
    notes += [note_at(s, 5, id=next(ids), contact=0.99, attack_contact=0.999) for s in (1, 2, 3)]
    positions = judge_positions(GUITAR, notes, bars=Bars(), offset_cents=0.0)
    told = evidence_of(GUITAR, positions, by_position(notes), silent={}).all_touched
    # by its own three notes alone, free ones would reach as far as this one
    assert told[place[0] - 1, place[1]] > 1.0
