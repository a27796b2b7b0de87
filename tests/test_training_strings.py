"""The other string models: their free strings against theory, and what a fret does to them."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
import pytest
from training.grid_string import ContactLaw, grid_note
from training.waveguide_string import Fret, waveguide_note

from buzzscan.guitar import Guitar
from buzzscan.simulate import Fault, SimGuitar
from buzzscan.simulate.note import NoteSound
from buzzscan.simulate.performance import Event

RATE_HZ = 44100
GRID = partial(grid_note, law=ContactLaw())
WAVEGUIDE = partial(waveguide_note, fret=Fret())
MODELS = pytest.mark.parametrize("model", [GRID, WAVEGUIDE], ids=["grid", "waveguide"])
LAWS = [
    *(
        partial(grid_note, law=ContactLaw(stiffness=s, exponent=1.5, damping_s_m=d))
        for s in (0.04, 0.25)
        for d in (0.02, 2.0)
    ),
    *(
        partial(waveguide_note, fret=Fret(bounce=b, half_width=w))
        for b in (0.5, 1.0)
        for w in (0, 1)
    ),
]


def play(
    model: Any,
    *,
    fret: int,
    string: int = 6,
    faults: tuple[Fault, ...] = (),
    amplitude_mm: float = 0.5,
    seconds: float = 0.8,
) -> NoteSound:
    guitar = SimGuitar.from_guitar(Guitar(), faults=faults, roughness_mm=0.0, detune_cents=0.0)
    event = Event(
        string=string,
        fret=fret,
        direction="up",
        onset_s=0.0,
        duration_s=seconds,
        amplitude_mm=amplitude_mm,
        angle_deg=60.0,
        pluck_mm=100.0,
        pick_width_mm=2.0,
        release_s=2e-4,
        marks=(),
    )
    note: NoteSound = model(
        guitar,
        event,
        weight_kind="pickup",
        pickup_mm=60.0,
        horizontal=0.0,
        sample_rate_hz=RATE_HZ,
        duration_s=seconds,
        rng=np.random.default_rng(1),
    )
    return note


def peak_hz(x: np.ndarray, near_hz: float) -> float:
    """Return the strongest frequency within 3 % by a zero-padded, windowed transform."""
    n = 1 << 20
    power = np.abs(np.fft.rfft(x * np.hanning(x.size), n)) ** 2
    f = np.fft.rfftfreq(n, 1.0 / RATE_HZ)
    inside = np.abs(f - near_hz) < 0.03 * near_hz
    return float(f[inside][np.argmax(power[inside])])


@MODELS
@pytest.mark.parametrize(("string", "fret"), [(6, 0), (5, 7), (2, 12), (1, 20)])
def test_partials_lie_where_a_stiff_string_has_them(model: Any, string: int, fret: int) -> None:
    note = play(model, string=string, fret=fret, amplitude_mm=0.05)
    assert not note.contact
    f0 = note.pitch_hz / np.sqrt(1.0 + note.inharmonicity)
    for n in (1, 2, 4, 6):
        # Fletcher, J. Acoust. Soc. Am. 36 (1964): f_n = n f0 sqrt(1 + B n²)
        expected = n * f0 * np.sqrt(1.0 + note.inharmonicity * n**2)
        cents = 1200.0 * np.log2(peak_hz(note.signal, expected) / expected)
        # what a grid and all-passes miss grows with the square of the partial; a bin of the
        # transform
        assert abs(cents) < 0.5 + 0.25 * n**2, (n, cents)


@MODELS
def test_first_partial_falls_as_said(model: Any) -> None:
    note = play(model, fret=5)
    t = np.arange(note.signal.size) / RATE_HZ
    turned = note.signal * np.exp(-2j * np.pi * note.pitch_hz * t)
    size = round(0.1 * RATE_HZ)
    parts = [np.abs(turned[i : i + size].mean()) for i in range(0, turned.size - size, size)]
    slope = np.polyfit(np.arange(len(parts)) * 0.1, 20 * np.log10(parts), 1)[0]
    # 0.7 s of a rate near 7 dB/s
    assert slope == pytest.approx(-note.decay_db_per_s, rel=0.02)


@MODELS
def test_a_high_fret_ahead_adds_highs_and_takes_energy(model: Any) -> None:
    high = Fault(kind="fret", fret=9, amount=0.12)
    note = play(model, fret=8, faults=(high,), amplitude_mm=0.8)
    assert note.contact
    late = slice(round(0.05 * RATE_HZ), round(0.3 * RATE_HZ))
    power = [np.abs(np.fft.rfft(x[late])) ** 2 for x in (note.signal, note.free)]
    highs = np.fft.rfftfreq(late.stop - late.start, 1.0 / RATE_HZ) > 2000.0
    shares = [float(p[highs].sum() / p.sum()) for p in power]
    assert shares[0] > 2.0 * shares[1]
    assert power[0].sum() < power[1].sum()


@pytest.mark.parametrize("model", LAWS, ids=range(len(LAWS)))
def test_a_fret_never_throws_energy_into_the_string(model: Any) -> None:
    low = Fault(kind="action", amount=-0.8)
    note = play(model, string=1, fret=15, faults=(low,), amplitude_mm=1.2, seconds=0.3)
    loud = np.sqrt(np.mean(note.free[:2000] ** 2))
    assert np.sqrt(np.mean(note.signal[-2000:] ** 2)) < loud


@MODELS
def test_a_string_on_a_higher_fret_sounds_it(model: Any) -> None:
    high = Fault(kind="fret", fret=6, amount=0.9)
    note = play(model, string=4, fret=5, faults=(high,), amplitude_mm=0.3)
    assert note.sounding_fret == 6
    assert abs(1200.0 * np.log2(peak_hz(note.signal[4000:], note.pitch_hz) / note.pitch_hz)) < 3.0
