"""Finding notes: times, places, tuning, offsets, what is kept unjudged and what is refused."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from runs_by_hand import GAP_S, LEAD_S, NOTE_S, RATE_HZ, Samples, recording
from runs_by_hand import run as made_run

from buzzscan.errors import AnalysisError
from buzzscan.guitar import Guitar
from buzzscan.notes import FoundNotes, find_notes

ONSET_S = 0.005
"""Takes are made sample by sample, so the onset is known; a pick's edge is 1 to 2 ms wide."""


def _found(samples: Samples, guitar: Guitar | None = None) -> FoundNotes:
    return find_notes([recording(samples)], guitar)


@pytest.fixture(scope="module")
def run() -> Samples:
    return made_run()


def test_each_note_lies_where_it_was_played(run: Samples) -> None:
    notes = _found(run, Guitar()).notes
    frets = [*range(13), *range(13)[::-1]]
    assert [(n.string, n.fret) for n in notes] == [(5, f) for f in frets]
    assert [n.direction for n in notes] == ["up"] * 13 + ["down"] * 13
    true_s = LEAD_S + np.arange(26) * (NOTE_S + GAP_S)
    assert np.abs(np.array([n.onset_s for n in notes]) - true_s).max() < ONSET_S
    assert all(n.judged and not n.reason for n in notes)


def test_a_note_ends_where_it_is_stopped(run: Samples) -> None:
    lengths = [n.end_s - n.onset_s for n in _found(run, Guitar()).notes]
    # The take fades each note over its last 20 ms; the next one starts 50 ms later.
    assert np.abs(np.array(lengths) - NOTE_S).max() < 0.025


@pytest.mark.parametrize("midi", [40.0, 50.0, 64.0])
def test_without_a_guitar_file_standard_tuning_is_found_and_said(midi: float) -> None:
    found = _found(made_run(open_midi=(midi,)))
    assert found.tuning_found
    assert found.guitar.tuning == Guitar().tuning
    assert "standard tuning" in found.remarks[0]
    assert {n.string for n in found.notes} == {{40.0: 6, 50.0: 4, 64.0: 1}[midi]}


def test_a_string_begun_at_its_second_fret_needs_no_other_tuning() -> None:
    first = {5: 1, 3: 2, 1: 1}
    take = [
        made_run(open_midi=(Guitar().midi(s, 0),), frets=tuple(range(f, f + 12)))
        for s, f in first.items()
    ]
    assert _found(np.concatenate(take)).guitar.tuning == Guitar().tuning


def test_a_run_from_the_octave_up_needs_no_other_tuning() -> None:
    take = made_run(open_midi=(45, 55, 64), frets=tuple(range(12, 23)))
    assert _found(take).guitar.tuning == Guitar().tuning


@pytest.mark.parametrize(("tops", "frets"), [((20, 20, 20), 20), ((20, 17, 12), 22)])
def test_a_neck_ends_where_all_runs_turn(tops: tuple[int, ...], frets: int) -> None:
    take = [
        made_run(open_midi=(Guitar().midi(s, 0),), frets=tuple(range(top + 1)))
        for s, top in zip((5, 3, 1), tops, strict=True)
    ]
    found = _found(np.concatenate(take))
    assert found.guitar.frets == frets
    assert f"{frets} frets taken" in found.remarks[0]
    assert max(n.fret for n in found.notes) == max(tops)


@pytest.fixture(scope="module")
def long_run() -> Samples:
    """Return the ends of two strings of a neck with 24 frets, where a shorter one is misread."""
    return made_run(open_midi=(59, 64), frets=tuple(range(14, 25)))


@pytest.mark.parametrize(
    ("given", "frets", "said"),
    [
        (None, 24, "24 frets taken"),
        (Guitar(frets=20), 24, "up to fret 24, beyond the 20 of the guitar file"),
        (Guitar(frets=24), 24, ""),
    ],
)
def test_the_neck_has_the_frets_that_the_run_reaches(
    long_run: Samples, given: Guitar | None, frets: int, said: str
) -> None:
    found = _found(long_run, given)
    assert found.guitar.frets == frets
    assert [(n.string, n.fret) for n in found.notes] == [
        (string, fret) for string in (2, 1) for fret in (*range(14, 25), *range(24, 13, -1))
    ]
    assert bool(said) == bool(found.remarks)
    assert said in "".join(found.remarks)


def test_as_many_frets_as_are_played_go_beyond_a_file() -> None:
    take = made_run(open_midi=(59, 64), frets=tuple(range(9, 18)))
    assert _found(take, Guitar(frets=15)).guitar.frets == 17
    assert _found(take).guitar.frets == 22


def test_another_tuning_is_found() -> None:
    take = made_run(open_midi=(28, 33, 38, 43), frets=tuple(range(8)))
    assert _found(take).guitar.tuning == ("E1", "A1", "D2", "G2")


@pytest.mark.parametrize("cents", [-60, 55])
def test_a_guitar_off_pitch_is_placed_right(cents: int) -> None:
    shift = cents / 100.0
    take = made_run(open_midi=(40 + shift, 45 + shift), frets=tuple(range(10)))
    found = _found(take, Guitar())
    assert found.offset_cents == pytest.approx(cents, abs=3.0)
    assert found.notes[0].fret == 0
    assert {n.string for n in found.notes} == {5, 6}


def test_a_soft_note_is_kept_but_not_judged(run: Samples) -> None:
    take = run.copy()
    start = round((LEAD_S + 4 * (NOTE_S + GAP_S) - 0.01) * RATE_HZ)
    take[start : start + round(NOTE_S * RATE_HZ)] *= 10.0 ** (-17.0 / 20.0)
    notes = _found(take, Guitar()).notes
    assert len(notes) == 26
    assert (notes[4].fret, notes[4].judged) == (4, False)
    assert "softly" in notes[4].reason


def test_a_choked_note_keeps_its_place() -> None:
    """The seventh sounds the ninth fret's pitch, up and down."""
    frets = (0, 1, 2, 3, 4, 5, 6, 9, 8, 9, 10, 11, 12)
    notes = _found(made_run(open_midi=(45,), frets=frets), Guitar()).notes
    assert [n.fret for n in notes] == [*range(13), *range(13)[::-1]]


def test_several_recordings_are_one_scan() -> None:
    takes = [
        recording(made_run(open_midi=(m,)), name) for m, name in ((45, "a.wav"), (59, "b.wav"))
    ]
    notes = find_notes(takes, Guitar()).notes
    assert [n.id for n in notes] == list(range(1, 53))
    assert {(n.recording, n.string) for n in notes} == {(0, 5), (1, 2)}


def test_progress_rises_to_one(run: Samples) -> None:
    seen: list[float] = []
    find_notes([recording(run)], Guitar(), progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def test_gain_and_polarity_change_no_place(run: Samples) -> None:
    def places(samples: Samples) -> list[tuple[int, int]]:
        return [(n.string, n.fret) for n in _found(samples, Guitar()).notes]

    assert places(-0.25 * run) == places(run)


def _silence() -> Samples:
    return np.zeros(8 * RATE_HZ)


def _noise() -> Samples:
    return 0.1 * np.random.default_rng(1).standard_normal(8 * RATE_HZ)


def _hum() -> Samples:
    t = np.arange(8 * RATE_HZ) / RATE_HZ
    return 0.2 * np.sin(2 * np.pi * 50.0 * t) + 0.1 * np.sin(2 * np.pi * 150.0 * t)


@pytest.mark.parametrize("make", [_silence, _noise, _hum])
def test_what_is_no_run_is_refused(make: Callable[[], Samples]) -> None:
    with pytest.raises(AnalysisError, match=r"no run over the neck found .take\.wav: .*; record"):
        _found(make(), Guitar())


def test_a_melody_is_refused() -> None:
    rng = np.random.default_rng(4)
    scale = np.array([0, 2, 4, 5, 7, 9, 11, 12])
    frets = tuple(int(f) for f in scale[rng.integers(0, 8, 14)])
    take = made_run(open_midi=(48,), frets=frets)
    with pytest.raises(AnalysisError, match="go fret by fret, or from string"):
        _found(take, Guitar())


def test_no_recording_is_refused() -> None:
    with pytest.raises(AnalysisError, match="need at least one"):
        find_notes([], None)
