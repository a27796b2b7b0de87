"""Buzz of whole runs: simulated takes with one clear fault, and what must not matter."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.measures.buzz import measure_buzz
from buzzscan.measures.buzz_cues import Cues, hear_cues
from buzzscan.measures.buzz_noise import NoiseFloor
from buzzscan.measures.measured import BuzzMeasure
from buzzscan.notes.note import Note
from buzzscan.partials import PartialFit
from buzzscan.recording import Recording, recording_from_samples
from buzzscan.simulate import Chain, Fault, Performance, SimGuitar, simulate_take
from buzzscan.simulate.take import Take

GUITAR = Guitar()
HIGH = 9


@lru_cache
def take() -> Take:
    """Return a run over one string with fret 9 high, so that the frets below it buzz."""
    guitar = SimGuitar.from_guitar(
        GUITAR, faults=(Fault(kind="fret", fret=HIGH, amount=0.2),), roughness_mm=0.004
    )
    performance = Performance(
        pace_s=0.6, amplitude_mm=0.55, strings=(6,), passes="up", last_fret=14
    )
    return simulate_take(guitar, performance, Chain(noise_dbfs=-80.0), seed=3)


def run() -> tuple[Recording, list[Note]]:
    notes = [
        Note(
            id=i + 1,
            recording=0,
            string=true.string,
            fret=true.fret,
            direction="up",
            onset_s=true.onset_s,
            end_s=true.end_s,
            pitch_hz=true.pitch_hz,
            placed=1.0,
            judged=True,
            reason="",
        )
        for i, true in enumerate(take().truth)
    ]
    return recording_from_samples(take().samples, take().sample_rate_hz), notes


@lru_cache
def measured() -> tuple[BuzzMeasure, ...]:
    recording, notes = run()
    return measure_buzz([recording], GUITAR, notes, [None] * len(notes))


def contact_of(measure: BuzzMeasure) -> float:
    assert measure.contact is not None
    return measure.contact


def buzz_of(measure: BuzzMeasure) -> float:
    assert measure.buzz_db is not None
    return measure.buzz_db


def test_frets_below_a_high_one_buzz_and_the_others_do_not() -> None:
    lasting = [t.contact and t.contact_until_s > 0.15 for t in take().truth]
    clean = [t.contact_until_s < 0.05 for t in take().truth]
    assert any(lasting)
    assert sum(clean) >= 6
    for measure, struck, free in zip(measured(), lasting, clean, strict=True):
        if struck:
            assert contact_of(measure) > 0.5
        if free:
            assert contact_of(measure) < 0.2


def test_buzz_is_loud_where_there_is_contact() -> None:
    contact = np.array([contact_of(m) for m in measured()])
    buzz = np.array([buzz_of(m) for m in measured()])
    assert buzz[contact > 0.5].min() > buzz[contact < 0.2].max()


def test_a_speaker_passes_less_of_the_buzz() -> None:
    for measure in measured():
        assert measure.buzz_amp_db is not None
        assert measure.buzz_amp_db <= buzz_of(measure)


def test_end_of_contact_lies_within_the_note() -> None:
    for measure in measured():
        if measure.contact_until_s is not None:
            assert contact_of(measure) >= 0.5
            assert 0.05 < measure.contact_until_s < 0.6


@pytest.mark.parametrize("gain", [0.1, -1.0])
def test_gain_and_polarity_change_nothing(gain: float) -> None:
    recording, notes = run()
    samples = recording.read(0, recording.n_samples) * np.float32(gain)
    scaled = recording_from_samples(samples, recording.sample_rate_hz)
    other = measure_buzz([scaled], GUITAR, notes, [None] * len(notes))
    for a, b in zip(measured(), other, strict=True):
        # single precision may move a value over a bar of one of 200 small trees
        assert contact_of(b) == pytest.approx(contact_of(a), abs=0.05)
        if contact_of(a) > 0.5:
            assert buzz_of(b) == pytest.approx(buzz_of(a), abs=0.3)


def fit_at(pitch_hz: float) -> PartialFit:
    return PartialFit(
        pitch_hz=pitch_hz,
        pitch_error_cents=0.1,
        f0_hz=pitch_hz,
        inharmonicity=None,
        likely_b=1e-4,
        reason="",
        numbers=(1,),
        frequencies_hz=(pitch_hz,),
        levels_db=(-20.0,),
        over_noise_db=(40.0,),
        noises_db=(-60.0,),
        errors_cents=(0.1,),
        used=(1.0,),
        decays_db_per_s=(5.0,),
        scatter_cents=0.1,
        explained_ratio=1.0,
    )


def test_a_string_that_sounds_the_next_fret_rests_on_it() -> None:
    recording, notes = run()
    held = [replace(note, fret=note.fret - 1) if note.fret == 13 else note for note in notes]
    fits = [fit_at(GUITAR.pitch_hz(6, 13)) if note.fret == 13 else None for note in notes]
    index = [note.fret for note in notes].index(13)
    assert contact_of(measured()[index]) < 0.2
    assert contact_of(measure_buzz([recording], GUITAR, held, fits)[index]) >= 0.9


def test_a_note_of_a_tenth_of_a_second_is_not_judged() -> None:
    recording, notes = run()
    notes[3] = replace(notes[3], end_s=notes[3].onset_s + 0.1)
    measure = measure_buzz([recording], GUITAR, notes, [None] * len(notes))[3]
    assert measure.contact is None
    assert measure.buzz_db is None
    assert "0.13 s" in measure.reason


def test_a_note_of_silence_is_finite() -> None:
    recording, notes = run()
    late = recording.duration_s
    notes.append(replace(notes[-1], id=99, onset_s=late - 0.25, end_s=late - 0.02))
    for measure in measure_buzz([recording], GUITAR, notes, [None] * len(notes)):
        assert np.isfinite(contact_of(measure))
        assert np.isfinite(buzz_of(measure))


def test_no_notes_no_measures() -> None:
    assert measure_buzz([run()[0]], GUITAR, [], []) == ()


def test_course_of_pushes_that_stop() -> None:
    """The course falls after the last push; a free string with pushes until 0.3 s."""
    rate, f1 = 44100, 220.0
    t = np.arange(round(0.65 * rate)) / rate
    wave = sum(np.exp(-2.0 * t) * np.cos(2 * np.pi * k * f1 * t + k) / k for k in range(1, 30))
    rng = np.random.default_rng(1)
    pushes = np.where(t < 0.3, 1.0, 0.0) * 0.05 * rng.normal(size=t.size)
    quiet = NoiseFloor(np.array([0.0, rate / 2.0]), np.array([1e-15, 1e-15]))
    cues = hear_cues(
        (0.1 * (np.asarray(wave) + pushes)).astype(np.float32),
        sample_rate_hz=rate,
        first_partial_hz=f1,
        noise=quiet,
    )
    assert isinstance(cues, Cues)
    course = dict(zip(cues.course_s, cues.course_fresh_db, strict=True))
    assert min(v for s, v in course.items() if s < 0.25) > -25.0
    assert max(v for s, v in course.items() if s > 0.42) < -28.0
