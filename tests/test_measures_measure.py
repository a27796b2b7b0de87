"""Measuring notes: one row per note, reasons for what is missing, warnings honoured."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.measures import MeasuredNote, measure_notes, offset_of
from buzzscan.notes.note import Note
from buzzscan.recording import Recording, RecordingWarning, recording_from_samples

Maker = Callable[..., MeasuredNote]
RATE = 22050
SECONDS = 0.8
PLACES = ((1, 0), (3, 5), (6, 12))


def take(detune: float = 1.0) -> Recording:
    rng = np.random.default_rng(3)
    guitar = Guitar()
    waves = []
    for string, fret in PLACES:
        t = np.arange(round(SECONDS * RATE)) / RATE
        wave = np.zeros(len(t))
        for k in range(1, 12):
            f = k * detune * guitar.pitch_hz(string, fret)
            f *= np.sqrt((1 + 8e-5 * k * k) / (1 + 8e-5))
            wave += 0.2 / k * np.exp(-(1.5 + 0.1 * k) * t) * np.cos(2 * np.pi * f * t + k)
        waves.append(wave * np.minimum((SECONDS - t) / 0.01, 1.0))
    silence = rng.normal(0, 1e-4, RATE // 2)
    sound = np.concatenate([silence, *waves, silence])
    recording = recording_from_samples(sound + rng.normal(0, 1e-4, len(sound)), RATE)
    # Three equal notes say nothing about the quality of a recording.
    return dataclasses.replace(recording, warnings=())


def found(pitch_hz: float | None = None) -> tuple[Note, ...]:
    return tuple(
        Note(
            id=i + 1,
            recording=0,
            string=string,
            fret=fret,
            direction="up",
            onset_s=0.5 + SECONDS * i,
            end_s=0.5 + SECONDS * (i + 1),
            pitch_hz=pitch_hz,
            placed=1.0,
            judged=i != 2,
            reason="" if i != 2 else "repeated at once",
        )
        for i, (string, fret) in enumerate(PLACES)
    )


@pytest.fixture(scope="module")
def measured() -> tuple[MeasuredNote, ...]:
    return measure_notes([take(2 ** (7 / 1200))], Guitar(), found())


def test_every_note_has_its_row(measured: tuple[MeasuredNote, ...]) -> None:
    assert [m.note.id for m in measured] == [1, 2, 3]
    for m in measured:
        assert m.cents == pytest.approx(7.0, abs=0.3)
        assert m.pitch_error_cents is not None
        assert 0.0 < m.pitch_error_cents < 0.5
        assert m.decay_db_per_s == pytest.approx(8.686 * 1.6, rel=0.1)
        assert m.t60_s == pytest.approx(60.0 / (m.decay_db_per_s or 1.0))
        assert m.inharmonicity == pytest.approx(8e-5, rel=0.05)
        assert m.whole_decay_db_per_s is not None
        assert -17.0 < m.attack_dbfs < -12.0  # 0.2 of eleven partials, rms


def test_what_is_missing_has_a_reason(measured: tuple[MeasuredNote, ...]) -> None:
    named = {f.name for f in dataclasses.fields(MeasuredNote)}
    for m in measured:
        reasons = dict(m.withheld)
        assert set(reasons) <= named
        assert all(reasons.values())
        for name in ("pitch_hz", "inharmonicity", "decay_db_per_s", "edt_s", "t20_s", "buzz_db"):
            assert (getattr(m, name) is None) == (name in reasons)


def test_notes_keep_what_the_search_said(measured: tuple[MeasuredNote, ...]) -> None:
    assert [m.judged for m in measured] == [True, True, False]
    assert measured[2].reason == "repeated at once"


def test_a_soft_note_counts_where_it_surely_strikes() -> None:
    # that it is quiet hides buzz and makes none: held at fret 11 it lies on fret 12
    why = "picked too softly: 14 dB under its string's other notes"
    *others, last = found()
    last = dataclasses.replace(
        last, reason=why, faults=("picked softly",), pitch_hz=Guitar().pitch_hz(6, 12)
    )
    clear = measure_notes([take()], Guitar(), [*others, last])[2]
    assert (clear.judged, clear.reason) == (False, why)
    held = dataclasses.replace(last, fret=11)
    lies = measure_notes([take()], Guitar(), [*others, held])[2]
    assert (lies.judged, lies.reason) == (True, "")
    buried = dataclasses.replace(held, faults=("picked softly", "buried"))
    assert not measure_notes([take()], Guitar(), [*others, buried])[2].judged


def test_warnings_withhold_what_they_spoil() -> None:
    recording = take()
    warning = RecordingWarning(
        code="gain riding", message="gain is ridden", spoils=("decay_db_per_s", "buzz_db")
    )
    warned = dataclasses.replace(recording, warnings=(warning,))
    for m in measure_notes([warned], Guitar(), found()):
        assert m.decay_db_per_s is None
        assert m.t60_s is None
        assert m.t20_s is None
        assert m.buzz_db is None
        assert m.pitch_hz is not None
        assert dict(m.withheld)["decay_db_per_s"] == "gain is ridden"


def test_progress_reaches_one() -> None:
    shares: list[float] = []
    measure_notes([take()], Guitar(), found()[:2], progress=shares.append)
    assert shares[-1] == 1.0
    assert shares == sorted(shares)


def test_note_of_noise_has_no_string() -> None:
    note = dataclasses.replace(found()[0], onset_s=0.05, end_s=0.45)
    (m,) = measure_notes([take()], Guitar(), [note])
    assert m.pitch_hz is None
    assert m.cents is None
    assert dict(m.withheld)["pitch_hz"] == "no string is heard at this pitch"


def test_no_notes_are_no_measures() -> None:
    assert measure_notes([take()], Guitar(), []) == ()


def test_the_instrument_lies_where_its_judged_notes_settle(note_at: Maker) -> None:
    cents = (-1.0, 0.5, 2.0, 104.0, None)
    notes = [note_at(1, i, id=i + 1, cents=c) for i, c in enumerate(cents)]
    notes += [note_at(1, 6 + i, id=6 + i, cents=9.0, judged=False) for i in range(4)]
    assert offset_of(notes, near_cents=6.0) == 0.5
    assert offset_of(notes[3:5], near_cents=6.0) == 6.0
    assert offset_of([], near_cents=-31.8) == -31.8
    strikes = [note_at(2, i, id=20 + i, cents=5.0, contact=0.9) for i in range(12)]
    clear = [note_at(3, i, id=40 + i, cents=1.0) for i in range(8)]
    assert offset_of([*strikes, *clear], near_cents=0.0) == 1.0
    assert offset_of([*strikes, *clear[:7]], near_cents=0.0) == 5.0
    spoilt = [dataclasses.replace(n, judged=False) for n in strikes]
    assert offset_of([*spoilt, *clear[:3]], near_cents=0.0) == 1.0
