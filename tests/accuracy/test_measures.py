"""Accuracy of the measures on simulated guitars: a table of (case, error 19 in 20 stay within).

The simulator shares no code with the analysis. Boundaries are the true ones moved by up to
20 ms either way, as a search for notes would give them.
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
from buzzscan.simulate import Chain, Fault, Performance, Resonance, SimGuitar, simulate_take
from buzzscan.simulate.take import TrueNote
from buzzscan.units import hz_to_cents

BOUNDARY_S = 0.02
BASS = Guitar(tuning=("E1", "A1", "D2", "G2"), frets=20, scale_mm=863.6)
SEVEN = Guitar(tuning=("B1", "E2", "A2", "D3", "G3", "B3", "E4"))


@dataclass(frozen=True)
class Case:
    """A guitar, how it is played and recorded, and what 19 in 20 notes must stay within."""

    name: str
    chain: Chain
    pitch_cents: float
    decay_ratio: float | None
    pace_s: float = 0.5
    guitar: Guitar = dataclasses.field(default_factory=Guitar)
    strings: tuple[int, ...] = (1, 4, 6)
    amplitude_mm: float = 0.4
    least_told: float = 0.9
    least_stiff: float = 0.85
    """Share of notes whose inharmonicity is told: high ones have few partials that show it."""


PICKUP = Chain(noise_dbfs=-70.0, horizontal=0.0)
"""One polarisation, as the true decay is that of the one towards the neck."""
CASES = (
    Case("pickup", PICKUP, 0.5, 0.10),
    Case("neck pickup, slow", replace(PICKUP, pickup_mm=150.0), 0.5, 0.10, 1.2, strings=(2, 5)),
    # The recording holds both polarisations; the second falls up to 30 % faster.
    Case("two polarisations", replace(PICKUP, horizontal=0.3), 0.5, 0.15, 0.7, strings=(2, 5)),
    Case("short notes", PICKUP, 0.5, 0.10, 0.32),
    Case("very short notes", PICKUP, 1.0, None, 0.2, strings=(1, 3, 6), least_stiff=0.8),
    Case("room", replace(PICKUP, source="room", noise_dbfs=-62.0), 0.5, 0.15, 0.9),
    Case(
        "noise and hum",
        replace(PICKUP, noise_dbfs=-55.0, hum_dbfs=-45.0),
        1.0,
        0.15,
        0.6,
        least_stiff=0.65,
    ),
    Case("bass", PICKUP, 0.5, 0.10, 0.7, guitar=BASS, strings=(1, 4)),
    Case("seven strings", PICKUP, 0.5, 0.10, guitar=SEVEN, strings=(7, 3)),
)


def simulated(case: Case, seed: int) -> list[tuple[TrueNote, MeasuredNote]]:
    rng = np.random.default_rng(seed)
    faults = tuple(
        Fault(kind="tuning", amount=float(rng.normal(0, 6)), strings=(string,))
        for string in case.guitar.strings
    )
    guitar = SimGuitar.from_guitar(
        case.guitar,
        faults=faults,
        resonances=(Resonance(frequency_hz=float(rng.uniform(120, 300)), conductance_s_kg=5e-3),),
        string_loss=float(rng.uniform(1.0, 2.0)),
        end_loss_per_s=float(rng.uniform(0.2, 0.8)),
    )
    played = Performance(
        pace_s=case.pace_s, amplitude_mm=case.amplitude_mm, passes="up", strings=case.strings
    )
    take = simulate_take(guitar, played, case.chain, seed=seed)
    true = [t for t in take.truth if not t.contact]
    notes = true_notes(true, rng, off_s=BOUNDARY_S)
    recording = recording_from_samples(take.samples, take.sample_rate_hz)
    # What a warning would withhold is measured here all the same.
    recording = dataclasses.replace(recording, warnings=())
    return list(zip(true, measure_notes([recording], case.guitar, notes), strict=True))


def p95(values: list[float]) -> float:
    return float(np.quantile(np.abs(np.asarray(values, np.float64)), 0.95))


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_errors_of_the_measures(case: Case) -> None:
    rows = simulated(case, 11) + simulated(case, 12)
    cents = [hz_to_cents(m.pitch_hz, t.pitch_hz) for t, m in rows if m.pitch_hz is not None]
    stiff = [m.inharmonicity / t.inharmonicity - 1 for t, m in rows if m.inharmonicity is not None]
    fall = [
        m.decay_db_per_s / t.decay_db_per_s - 1 for t, m in rows if m.decay_db_per_s is not None
    ]
    held = [
        m.decay_low_db_per_s <= t.decay_db_per_s <= m.decay_high_db_per_s
        for t, m in rows
        if m.decay_low_db_per_s is not None and m.decay_high_db_per_s is not None
    ]
    print(
        f"{case.name:18} {len(rows):4} notes  pitch {p95(cents):5.2f} c ({len(cents):3})"
        f"  B {100 * p95(stiff):4.1f} % ({len(stiff):3})"
        f"  decay {100 * p95(fall or [0.0]):5.1f} % ({len(fall):3})"
        f"  interval holds {100 * np.mean(held or [1.0]):3.0f} %"
    )
    assert p95(cents) <= case.pitch_cents
    assert max(abs(c) for c in cents) < 50.0  # no octave, no neighbour
    assert len(cents) >= case.least_told * len(rows)
    assert p95(stiff) <= 0.05
    assert len(stiff) >= case.least_stiff * len(rows)
    if case.decay_ratio is not None:
        assert p95(fall) <= case.decay_ratio
        assert len(fall) >= case.least_told * len(rows)
        assert np.mean(held) >= 0.9  # of intervals of 95 %
