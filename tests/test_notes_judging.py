"""Which notes must not count, and how sure places are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from runs_by_hand import RATE_HZ, a_string, heard

from buzzscan.guitar import Guitar
from buzzscan.notes.ending import Ending
from buzzscan.notes.hearing import Heard
from buzzscan.notes.judging import Fault, faults_of, place_odds, reason_of
from buzzscan.notes.placing import Placed, place

N = 26


def reasons_of(
    candidates: Heard,
    placed: Placed,
    *,
    attack_db: npt.NDArray[np.float64],
    endings: Mapping[int, Ending] | None = None,
) -> tuple[str, ...]:
    """Return the reasons of a run whose notes are stopped after 0.45 s, but for some."""
    found = faults_in(candidates, placed, attack_db=attack_db, endings=endings)
    return tuple(map(reason_of, found))


def faults_in(
    candidates: Heard,
    placed: Placed,
    *,
    attack_db: npt.NDArray[np.float64],
    endings: Mapping[int, Ending] | None = None,
) -> tuple[tuple[Fault, ...], ...]:
    """Return the faults of a run whose notes are stopped after 0.45 s, but for some."""
    onsets_s = candidates.onset / RATE_HZ
    usual = [Ending(end_s=float(s) + 0.45, stopped=True) for s in onsets_s]
    return faults_of(
        candidates,
        placed,
        tuple((endings or {}).get(k, ending) for k, ending in enumerate(usual)),
        onsets_s,
        attack_db=attack_db,
        odds=place_odds(placed),
    )


def told(**otherwise: Any) -> tuple[str, ...]:
    """Return the reasons of a run whose fourth note is otherwise."""
    return tuple(map(reason_of, faults_told(**otherwise)))


def faults_told(
    *, length_s: float = 0.45, stopped: bool = True, **fourth: Any
) -> tuple[tuple[Fault, ...], ...]:
    """Return the faults of a run whose fourth note is otherwise."""
    plain = a_string(45)
    values = {name: getattr(plain, name).copy() for name in fourth if name != "attack_db"}
    for name, value in values.items():
        value[3] = fourth[name]
    candidates = a_string(45, **values)
    fourth_ends = Ending(
        end_s=float(candidates.onset[3] / RATE_HZ) + length_s,
        stopped=stopped,
    )
    attack_db = np.full(N, -12.0)
    attack_db[3] = fourth.get("attack_db", -12.0)
    return faults_in(
        candidates, place(plain, Guitar()), attack_db=attack_db, endings={3: fourth_ends}
    )


def test_plain_notes_count() -> None:
    assert told() == ("",) * N


def test_a_soft_pick_does_not_count() -> None:
    why = told(level_db=-38.0, attack_db=-30.0)
    assert why[3] == "picked too softly: 18 dB under its string's other notes"
    assert set(why[:3] + why[4:]) == {""}


@pytest.mark.parametrize(
    ("other", "kind", "why"),
    [
        ({"share": 0.1, "whole_share": 0.05}, "buried", "buried under other sound"),
        ({"length_s": 0.06}, "cut short", "cut short after 0.06 s"),
    ],
)
def test_a_soft_note_that_is_spoilt_says_both(other: dict[str, float], kind: str, why: str) -> None:
    found = faults_told(level_db=-38.0, attack_db=-30.0, **other)[3]
    assert [fault.kind for fault in found] == ["picked softly", kind]
    said = reason_of(found)
    assert said.startswith(f"picked softly, 18 dB under its string's other notes, and {why}")


def test_a_note_that_a_fret_chokes_was_picked_hard() -> None:
    assert told(level_db=-38.0, attack_db=-12.0)[3] == ""


def test_a_note_cut_short_does_not_count() -> None:
    assert told(length_s=0.06)[3] == "cut short after 0.06 s, need 0.12 s"
    assert told(length_s=0.06, stopped=False)[3] == ""


def test_a_buried_note_does_not_count() -> None:
    assert told(share=0.1, whole_share=0.05)[3].startswith("buried under other sound")


def test_a_first_fret_picked_twice_is_no_open_string_that_chokes() -> None:
    twice = [46.0, *(45.0 + fret for fret in (*range(1, 13), *range(12, 0, -1)))]
    candidates = heard(twice, b=np.array([6e-5 * 2.0 ** ((m - 45.0) / 6.0) for m in twice]))
    placed = place(candidates, Guitar())
    said = reasons_of(candidates, placed, attack_db=np.full(len(twice), -12.0))
    assert placed.states.fret[placed.path.states[0]] == 0, "the run alone cannot tell"
    assert said[0] == "sounds as fret 1 does, and may be that fret picked again"
    assert set(said[1:]) == {""}


@pytest.mark.parametrize(("lost_s", "doubted"), [(0.5, True), (0.0, False)])
def test_the_fret_above_sounding_twice_is_a_choke_unless_a_note_may_be_lost_before_it(
    lost_s: float, *, doubted: bool
) -> None:
    k = 11
    plain = a_string(45)
    pitch_hz, onset = plain.pitch_hz.copy(), plain.onset.copy()
    pitch_hz[k] = pitch_hz[k + 1]
    onset[k:] += round(lost_s * RATE_HZ)
    candidates = a_string(45, pitch_hz=pitch_hz, onset=onset)
    said = reasons_of(candidates, place(plain, Guitar()), attack_db=np.full(N, -12.0))
    assert (said[k] == "sounds as fret 12 does, and may be that fret picked again") == doubted
    assert set(said[:k] + said[k + 1 :]) == {""}


def test_what_rings_on_of_the_note_before_does_not_count() -> None:
    """On the way down: the fret above, still heard in a note that is too soft to hear itself."""
    k = 20
    plain = a_string(45)
    pitch_hz = plain.pitch_hz.copy()
    pitch_hz[k] = pitch_hz[k - 1]
    candidates, placed = a_string(45, pitch_hz=pitch_hz), place(plain, Guitar())

    def said(length_s: float) -> tuple[str, ...]:
        ends = Ending(end_s=float(plain.onset[k] / RATE_HZ) + length_s, stopped=True)
        return reasons_of(candidates, placed, attack_db=np.full(N, -12.0), endings={k: ends})

    assert said(0.15)[k] == "sounds as the note before does, and may be what rings on of that"
    assert said(0.45) == ("",) * N, "a note of its own, that rests on the next fret"


def test_a_voice_between_two_strings_is_no_note() -> None:
    """It is heard far off any fret, and nothing of the run lies beside it."""
    frets = [*range(13), *range(13)[::-1]]
    run = [45.0 + f for f in frets]
    for off, wanted in ((0.48, True), (0.05, False)):
        midi = [*run, 50.0 + 14.0 + off, *(m + 5.0 for m in run)]
        candidates = heard(midi)
        placed = place(candidates, Guitar())
        k = len(run)
        assert len(placed.path.rows) == len(midi)
        said = reasons_of(candidates, placed, attack_db=np.full(len(midi), -12.0))
        assert said[k].startswith("stands alone in the run and sounds 4") == wanted
        assert set(said[:k] + said[k + 1 :]) == {""}


def test_places_of_a_plain_run_are_sure() -> None:
    assert place_odds(place(a_string(45), Guitar())).min() > 0.9


def test_a_string_is_surer_once_its_neighbour_is_known() -> None:
    frets = [*range(13), *range(13)[::-1]]
    midi = [v + f for v in (50.0, 55.0) for f in frets]
    b = np.array([open_b * 2.0 ** (f / 6.0) for open_b in (6e-5, 2e-4) for f in frets])
    both = place_odds(place(heard(midi, b=b), Guitar()))[N:]
    alone = place_odds(place(heard(midi[N:], b=b[N:]), Guitar()))
    assert both.min() > alone.min()
