"""Accuracy of pitch and decay on guitars and recordings drawn at random.

Each take draws its tuning, gauges, scale, losses, body, pick, pickup, room and noise. What is
asserted is the error 19 in 20 notes stay within, and that the stated errors and intervals hold
what they say. Bass strings and short notes in a loud room are among them: the room's own
rise and fall is then as large as the string's, and the bars say so.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, replace

import numpy as np
import pytest
from true_notes import true_notes

from buzzscan.guitar import Guitar
from buzzscan.measures import MeasuredNote, measure_notes
from buzzscan.recording import recording_from_samples
from buzzscan.simulate import Chain, Fault, Performance, SimGuitar, simulate_take
from buzzscan.simulate.instrument import drawn_body
from buzzscan.simulate.take import TrueNote
from buzzscan.units import hz_to_cents

TAKES = 12
BOUNDARY_S = 0.02
TUNINGS = (
    ("E2", "A2", "D3", "G3", "B3", "E4"),
    ("D2", "A2", "D3", "G3", "B3", "E4"),
    ("D2", "A2", "D3", "F#3", "A3", "D4"),
    ("C2", "G2", "C3", "F3", "A3", "D4"),
    ("B1", "E2", "A2", "D3", "G3", "B3", "E4"),
    ("E1", "A1", "D2", "G2"),
    ("B0", "E1", "A1", "D2", "G2"),
)
LIGHT_MM = np.array([1.07, 0.81, 0.56, 0.36, 0.28, 0.23])


@dataclass(frozen=True)
class Kind:
    """A kind of recording, what 19 in 20 notes stay within, and the share that is told."""

    name: str
    pitch_cents: float
    decay_ratio: float
    pitch_told: float
    decay_told: float


KINDS = (
    Kind("clean", 0.5, 0.10, 0.97, 0.9),
    Kind("room", 0.5, 0.15, 0.97, 0.6),
    Kind("hard", 1.0, 0.25, 0.75, 0.3),
)
"""Half a cent: intonation is set to a cent or two, and what is measured must not add to that
(common practice, no source). Under hum and loud noise twice as much."""


def drawn_guitar(rng: np.random.Generator) -> Guitar:
    tuning = TUNINGS[int(rng.integers(len(TUNINGS)))]
    bass = tuning[0] in ("E1", "B0")
    gauges = None
    if len(tuning) == 6 and rng.random() < 0.6:
        gauges = tuple(float(g) for g in (LIGHT_MM * rng.uniform(1.0, 1.3)).round(3))
    return Guitar(
        tuning=tuning,
        frets=20 if bass else int(rng.choice([21, 22, 24])),
        scale_mm=float(rng.uniform(820, 870) if bass else rng.uniform(620, 686)),
        gauges_mm=gauges,
    )


def drawn_build(guitar: Guitar, strings: tuple[int, ...], rng: np.random.Generator) -> SimGuitar:
    return SimGuitar.from_guitar(
        guitar,
        faults=tuple(
            Fault(kind="tuning", amount=float(rng.normal(0, 6)), strings=(s,)) for s in strings
        ),
        resonances=drawn_body(rng, conductance_s_kg=float(rng.choice([0.5e-3, 1.5e-3, 3e-3]))),
        string_loss=float(rng.uniform(0.8, 2.5)),
        end_loss_per_s=float(rng.uniform(0.2, 1.2)),
        axes_deg=float(rng.uniform(-10, 10)),
        detune_cents=float(rng.uniform(0.2, 1.0)),
    )


def drawn_chain(kind: str, rng: np.random.Generator) -> Chain:
    chain = Chain(
        source="bridge" if rng.random() < 0.3 else "pickup",
        pickup_mm=float(rng.uniform(35, 170)),
        pickup_hz=float(rng.uniform(2200, 6000)),
        pickup_q=float(rng.uniform(0.7, 3)),
        horizontal=float(rng.uniform(0, 0.4)),
        peak_dbfs=float(rng.uniform(-20, -1)),
        noise_dbfs=float(rng.uniform(-85, -65)),
        sample_rate_hz=int(rng.choice([44100, 48000])),
    )
    room = replace(
        chain,
        source="room",
        room_t60_s=float(rng.uniform(0.2, 0.5)),
        room_db=float(rng.uniform(-14, -5)),
        noise="pink",
        noise_dbfs=float(rng.uniform(-72, -55)),
    )
    if kind == "hard":
        return replace(
            room if rng.random() < 0.5 else chain,
            noise_dbfs=float(rng.uniform(-58, -45)),
            hum_dbfs=float(rng.uniform(-60, -40)) if rng.random() < 0.6 else None,
            hum_hz=float(rng.choice([50, 60])),
        )
    return room if kind == "room" else chain


def drawn_notes(kind: str, seed: int) -> list[tuple[TrueNote, MeasuredNote]]:
    rng = np.random.default_rng([seed, len(kind)])
    guitar = drawn_guitar(rng)
    order = rng.permutation(guitar.n_strings)[:2] + 1
    strings = tuple(int(s) for s in order)
    first = int(rng.integers(0, guitar.frets - 9))
    slow, fast = (0.8, 0.2) if kind == "hard" else (1.5, 0.3)
    played = Performance(
        pace_s=float(np.exp(rng.uniform(np.log(fast), np.log(slow)))),
        amplitude_mm=float(rng.uniform(0.15, 0.5)),
        pluck_mm=float(rng.uniform(40, 170)),
        angle_deg=float(rng.uniform(30, 75)),
        pick_width_mm=float(rng.uniform(1, 8)),
        pick_noise=float(rng.uniform(0, 0.3)),
        finger_sd=float(rng.uniform(0, 0.3)),
        passes="up",
        strings=strings,
        first_fret=first,
        last_fret=first + 9,
        unmuted=float(rng.choice([0.0, 0.01])),
    )
    take = simulate_take(
        drawn_build(guitar, strings, rng), played, drawn_chain(kind, rng), seed=seed
    )
    true = [t for t in take.truth if not t.contact]
    notes = true_notes(true, rng, off_s=BOUNDARY_S)
    recording = recording_from_samples(take.samples, take.sample_rate_hz)
    # What a warning would withhold is measured here all the same.
    recording = dataclasses.replace(recording, warnings=())
    return list(zip(true, measure_notes([recording], guitar, notes), strict=True))


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.name)
def test_errors_and_what_is_said_of_them(kind: Kind) -> None:
    rows = [row for seed in range(TAKES) for row in drawn_notes(kind.name, 700 + seed)]
    off, over_error, fall, held = [], [], [], []
    for t, m in rows:
        if m.pitch_hz is not None and m.pitch_error_cents is not None:
            off.append(abs(hz_to_cents(m.pitch_hz, t.pitch_hz)))
            over_error.append(off[-1] / m.pitch_error_cents)
        if m.decay_db_per_s is not None:
            assert m.decay_low_db_per_s is not None
            assert m.decay_high_db_per_s is not None
            fall.append(abs(m.decay_db_per_s / t.decay_db_per_s - 1.0))
            held.append(m.decay_low_db_per_s <= t.decay_db_per_s <= m.decay_high_db_per_s)
    pitch, decay = float(np.quantile(off, 0.95)), float(np.quantile(fall, 0.95))
    within = float(np.mean(np.array(over_error) < 1.96))
    print(
        f"{kind.name:8} {len(rows):4} notes  pitch {pitch:5.2f} c ({len(off):3}), "
        f"{100 * within:3.0f} % within 1.96 errors"
        f"  decay {100 * decay:5.1f} % ({len(fall):3}), intervals hold "
        f"{100 * np.mean(held):3.0f} %"
    )
    assert pitch <= kind.pitch_cents
    assert decay <= kind.decay_ratio
    assert len(off) >= kind.pitch_told * len(rows)
    assert len(fall) >= kind.decay_told * len(rows)
    assert within >= 0.90  # of 95 %; notes of one take share their room and string
    assert np.mean(held) >= 0.90
