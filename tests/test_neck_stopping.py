"""Notes that stop long before their neighbours."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import judge_positions
from buzzscan.neck.stopping import stopped_early
from buzzscan.neck.verdict import Bars, Position

Maker = Callable[..., MeasuredNote]
PACE_S = 2.0


def run(
    note_at: Maker, *, passes: int, stops: dict[int, float], ring_s: float = 1.9
) -> list[MeasuredNote]:
    """Return passes over one string; `stops` is the length of single notes by id."""
    notes = []
    for i in range(13 * passes):
        onset = 1.0 + PACE_S * i
        length = stops.get(i, ring_s)
        way = "down" if i // 13 % 2 else "up"
        span = {"onset_s": onset, "end_s": onset + length}
        notes.append(note_at(2, i % 13, id=i, direction=way, contact=0.02, **span))
    return notes


def test_a_note_that_dies_among_notes_that_ring_stops_early(note_at: Maker) -> None:
    early = stopped_early(run(note_at, passes=1, stops={5: 0.15}))
    assert list(early) == [5]
    assert [round(seconds, 6) for seconds in early[5]] == [0.15, 1.9]


def test_a_fast_run_has_no_early_stops(note_at: Maker) -> None:
    assert not stopped_early(run(note_at, passes=1, stops={5: 0.12}, ring_s=0.2))


def test_a_short_note_that_the_next_one_follows_was_played_short(note_at: Maker) -> None:
    notes = run(note_at, passes=1, stops={5: 0.15})
    hurried = [n for n in notes if n.note.id != 5]
    hurried.append(note_at(2, 5, id=5, onset_s=12.85, end_s=12.99))
    assert not stopped_early(hurried)


def test_the_last_note_of_a_take_may_be_short(note_at: Maker) -> None:
    assert not stopped_early(run(note_at, passes=1, stops={12: 0.15}))


def test_both_passes_that_stop_make_a_choke(note_at: Maker) -> None:
    notes = run(note_at, passes=2, stops={5: 0.15, 18: 0.15})
    places = judge_positions(Guitar(), notes, bars=Bars(), offset_cents=0.0)
    words = {p.fret: (p.buzz, p.reason) for p in places if p.string == 2 and p.fret <= 12}
    assert words[5] == ("choked", "stops after 0.15 s where the string's other notes ring 1.9 s")
    assert all(word == "clean" for fret, (word, _) in words.items() if fret != 5)


def test_one_pass_that_rings_speaks_against_a_choke(note_at: Maker) -> None:
    notes = run(note_at, passes=2, stops={5: 0.15})
    places = judge_positions(Guitar(), notes, bars=Bars(), offset_cents=0.0)
    assert next(p for p in places if (p.string, p.fret) == (2, 5)).buzz == "clean"


def test_a_choke_heard_once_says_so(note_at: Maker) -> None:
    notes = run(note_at, passes=1, stops={5: 0.15})
    places = judge_positions(Guitar(), notes, bars=Bars(), offset_cents=0.0)
    at = next(p for p in places if (p.string, p.fret) == (2, 5))
    assert at.buzz == "choked"
    assert "heard once" in at.reason


def cut_short(notes: list[MeasuredNote], *ids: int) -> Position:
    """Return the verdict on fret 5 with some notes of it too short to be measured."""
    told = [
        dataclasses.replace(
            n,
            note=dataclasses.replace(
                n.note, judged=False, reason="cut short after 0.08 s", faults=("cut short",)
            ),
            judged=False,
        )
        if n.note.id in ids
        else n
        for n in notes
    ]
    places = judge_positions(Guitar(), told, bars=Bars(), offset_cents=0.0)
    return next(p for p in places if (p.string, p.fret) == (2, 5))


def test_passes_that_all_stop_before_they_can_be_measured_make_a_choke(note_at: Maker) -> None:
    both = cut_short(run(note_at, passes=2, stops={5: 0.08, 18: 0.08}), 5, 18)
    assert both.buzz == "choked"
    assert both.reason == "stops after 0.08 s where the string's other notes ring 1.9 s"


def test_one_pass_that_stops_before_it_can_be_measured_is_no_choke(note_at: Maker) -> None:
    alone = cut_short(run(note_at, passes=1, stops={5: 0.08}), 5)
    assert alone.buzz is None
    assert alone.reason == "cut short after 0.08 s"
    rung_once = cut_short(run(note_at, passes=2, stops={5: 0.08}), 5)
    assert rung_once.buzz == "clean"


def test_a_choke_that_is_measured_once_is_told_whatever_else_is_cut_short(note_at: Maker) -> None:
    # the second pass is cut by the next pick, or by the end of the take: it says nothing
    notes = run(note_at, passes=2, stops={5: 0.15, 18: 0.08})
    hurried = [*notes, note_at(2, 6, id=99, onset_s=37.2, end_s=38.0)]
    assert cut_short(hurried, 18).buzz == "choked"


def test_a_note_that_rings_disproves_a_choke_measured_or_not(note_at: Maker) -> None:
    notes = run(note_at, passes=3, stops={5: 0.08, 18: 0.08})
    soft = [dataclasses.replace(n, judged=False) if n.note.id == 31 else n for n in notes]
    assert cut_short(soft, 5, 18).buzz is None


def test_two_fumbled_picks_of_one_pass_are_no_choke(note_at: Maker) -> None:
    notes = run(note_at, passes=1, stops={5: 0.08})
    again = note_at(2, 5, id=50, onset_s=11.9, end_s=11.98)
    assert cut_short([*notes, again], 5, 50).buzz is None
