"""Sound of the simulated string against published and derived values, read off its samples.

The estimators here are the test's own: one partial is mixed down to 0 Hz and low-passed, its
phase gives the frequency and its level the decay.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, sosfiltfilt

from buzzscan.guitar import Guitar
from buzzscan.simulate import Chain, Fault, Performance, Resonance, SimGuitar, simulate_take
from buzzscan.simulate.collision import strike_run
from buzzscan.simulate.modes import string_modes
from buzzscan.simulate.note import NoteSound, sound_note
from buzzscan.simulate.performance import Event
from buzzscan.simulate.strings import StringSpec, glide_cents

RATE = 44100
BASS = (
    (1, 97.97, 0.196),
    (2, 196.46, 0.138),
    (3, 294.64, 1.649),
    (4, 393.02, 0.459),
    (8, 786.60, 3.507),
    (9, 885.35, 0.460),
)
"""Partials of a bass string as measured: number, Hz, decay rate in 1/s (Issanchou et al.)."""
PLAIN_STEEL = Guitar(
    gauges_mm=(1.17, 0.91, 0.66, 0.43, 0.33, 0.254),
    wound=(True, True, True, False, False, False),
    scale_mm=647.7,
)


def simulated(**changes: object) -> SimGuitar:
    """Return a guitar whose two directions of vibration do not mix, to see one by itself."""
    return SimGuitar.from_guitar(
        PLAIN_STEEL, **{"axes_deg": 0.0, "detune_cents": 0.0, "roughness_mm": 0.0, **changes}
    )


def picked(string: int, fret: int, *, amplitude_mm: float = 0.1, pluck_mm: float = 90.0) -> Event:
    return Event(
        string=string,
        fret=fret,
        direction="up",
        onset_s=0.0,
        duration_s=1.0,
        amplitude_mm=amplitude_mm,
        angle_deg=85.0,
        pluck_mm=pluck_mm,
    )


def sound(guitar: SimGuitar, event: Event, seconds: float, *, rate: int = RATE) -> NoteSound:
    return sound_note(
        guitar,
        event,
        weight_kind="bridge",
        pickup_mm=0.0,
        horizontal=0.0,
        sample_rate_hz=rate,
        duration_s=seconds,
        rng=np.random.default_rng(0),
    )


def mixed_down(x: np.ndarray, near_hz: float, *, width_hz: float) -> np.ndarray:
    """Return the partial near a frequency as a complex envelope around it, same length."""
    t = np.arange(x.size) / RATE
    sos = butter(4, width_hz, fs=RATE, output="sos")
    at_zero = x * np.exp(-2j * np.pi * near_hz * t)
    return np.asarray(sosfiltfilt(sos, at_zero.real) + 1j * sosfiltfilt(sos, at_zero.imag))


def partial(
    x: np.ndarray, near_hz: float, *, width_hz: float, from_s: float, to_s: float
) -> tuple[float, float]:
    """Return frequency in Hz and decay rate in 1/s of the partial near a frequency."""
    t = np.arange(x.size) / RATE
    part = slice(int(from_s * RATE), int(to_s * RATE))
    z = mixed_down(x, near_hz, width_hz=width_hz)[part]
    turns = np.polyfit(t[part], np.unwrap(np.angle(z)), 1)[0] / (2 * np.pi)
    return near_hz + float(turns), -float(np.polyfit(t[part], np.log(np.abs(z)), 1)[0])


def cents(hz: float, reference_hz: float) -> float:
    return 1200 * float(np.log2(hz / reference_hz))


@pytest.mark.parametrize(
    ("number", "hz", "t60_s"),
    [
        (1, 97.97, 35.2),
        (2, 196.46, 50.0),
        (3, 294.64, 4.19),
        (4, 393.02, 15.1),
        (8, 786.60, 1.97),
        (9, 885.35, 15.0),
    ],
)
def test_measured_partials_of_a_bass_string_sound_as_measured(
    number: int, hz: float, t60_s: float
) -> None:
    # Issanchou et al., published frequencies and losses of a measured bass string (L .863 m,
    # T 191.6 N, 6.7 g/m); 3 % on the decay time (rounding of its rate), 0.1 cents on the pitch
    spec = StringSpec(
        core_mm=0.5, gauge_mm=1.1, mass_kg_m=6.7e-3, tension_n=191.6, wound=True, measured=BASS
    )
    bass = SimGuitar.from_guitar(
        Guitar(tuning=("G2",), scale_mm=863.0),
        strings=(spec,),
        axes_deg=0.0,
        detune_cents=0.0,
        roughness_mm=0.0,
    )
    note = sound(bass, picked(1, 0), 3.0)
    got_hz, got_per_s = partial(note.free, hz, width_hz=20.0, from_s=0.3, to_s=2.5)
    assert abs(cents(got_hz, hz)) < 0.1, number
    assert np.log(1000) / got_per_s == pytest.approx(t60_s, rel=0.03), number


def test_every_position_is_in_tune_where_equal_temperament_puts_it() -> None:
    # twelfth root of two from the open string; a saddle set for fret 12 leaves what pressing and
    # stiffness do to the other frets: a few cents (common practice, no source). Open strings are
    # tuned exactly; at fret 12 the saddle is set to first order, 0.3 cents.
    guitar = simulated()
    worst = 0.0
    for string in PLAIN_STEEL.strings:
        for fret in range(PLAIN_STEEL.frets + 1):
            hz = string_modes(guitar, string, pressed=fret, stop=fret).f_hz[0]
            off = cents(float(hz), PLAIN_STEEL.pitch_hz(string, fret))
            assert abs(off) < {0: 1e-6, 12: 0.3}.get(fret, 12.0), (string, fret)
            worst = max(worst, abs(off))
    print(f"largest distance from equal temperament: {worst:.1f} cents")


@pytest.mark.parametrize(("string", "fret"), [(6, 0), (5, 7), (3, 3), (2, 15), (1, 22)])
def test_pitch_stiffness_and_decay_in_the_samples_are_the_truths(string: int, fret: int) -> None:
    # 0.1 cents and 2 % are what the estimator leaves of neighbouring partials
    note = sound(simulated(), picked(string, fret), 1.2)
    width = note.pitch_hz / 4
    hz, per_s = partial(note.free, note.pitch_hz, width_hz=width, from_s=0.3, to_s=1.0)
    assert abs(cents(hz, note.pitch_hz)) < 0.1
    assert 20 / np.log(10) * per_s == pytest.approx(note.decay_db_per_s, rel=0.02)
    # B from two partials: (f6/6f1)² = (1 + 36B)/(1 + B)
    n, b = 6, note.inharmonicity
    near = note.pitch_hz * n * np.sqrt((1 + n**2 * b) / (1 + b))
    high, _ = partial(note.free, float(near), width_hz=width, from_s=0.1, to_s=0.4)
    stretch = (high / (n * hz)) ** 2
    assert (stretch - 1) / (n**2 - stretch) == pytest.approx(b, rel=0.02)


@pytest.mark.parametrize(("conductance", "t60_s"), [(1e-3, 14.24), (1e-2, 3.95)])
def test_a_neck_resonance_kills_the_note_as_fast_as_it_takes_energy(
    conductance: float, t60_s: float
) -> None:
    # derived: σ = σ0 + T·G/L with T 72.1 N, fret 4 of 647.7 mm, σ0 = 0.345 1/s; the string's own
    # losses are taken off, 2 % for the estimator
    rates = []
    for g in (0.0, conductance):
        bare = simulated(compensated=False)
        hz = float(string_modes(bare, 1, pressed=4, stop=4).f_hz[0])
        r = Resonance(frequency_hz=hz, conductance_s_kg=g)
        note = sound(simulated(resonances=(r,), compensated=False), picked(1, 4), 1.2)
        _, per_s = partial(note.free, note.pitch_hz, width_hz=80.0, from_s=0.2, to_s=1.0)
        rates.append(per_s)
    tension = simulated().strings[-1].tension_n
    added = (rates[1] - rates[0]) * 72.1 / tension
    assert np.log(1000) / (0.345 + added) == pytest.approx(t60_s, rel=0.02)


def test_a_resonance_drives_the_pitch_away_from_itself() -> None:
    # derived: below its resonance a neck gives way like a spring (longer string, flat), above it
    # like a mass (sharp); T/L·G/2 in rad/s at half width, 2 %
    bare = simulated()
    hz = float(string_modes(bare, 3, pressed=5, stop=5).f_hz[0])
    tension, length = bare.strings[-3].tension_n, bare.length_mm(3, 5) / 1e3
    for side in (-1.0, 1.0):
        centre = hz / (1.0 + side / (2 * 25.0))
        r = Resonance(frequency_hz=centre, conductance_s_kg=0.01)
        moved = string_modes(simulated(resonances=(r,)), 3, pressed=5, stop=5).f_hz[0]
        expected = side * tension / length * 0.01 / 2 / (2 * np.pi)
        assert moved - hz == pytest.approx(expected, rel=0.02)


def test_a_hard_pluck_starts_sharp_and_glides_home() -> None:
    # derived: Kirchhoff-Carrier mean strain, 2.64 cents for 2 mm on a .013 string (checked with
    # the string itself in its own test); here the samples: at 0.1 s it has fallen by exp(−2σt)
    guitar = simulated(compensated=False)
    event = picked(
        2, 0, amplitude_mm=2.0 * guitar.strings[-2].tension_n / guitar.strings[0].tension_n
    )
    note = sound(guitar, event, 2.2)
    full = glide_cents(guitar.strings[-2], amplitude_mm=0.8 * 2.0, length_mm=647.7)
    sigma = note.decay_db_per_s * np.log(10) / 20
    early, _ = partial(note.free, note.pitch_hz, width_hz=60.0, from_s=0.08, to_s=0.12)
    late, _ = partial(note.free, note.pitch_hz, width_hz=60.0, from_s=1.8, to_s=2.1)
    expected = full * (np.exp(-2 * sigma * 0.1) - np.exp(-2 * sigma * 1.95))
    # 0.05 cents: what other partials leave in a window of 40 ms
    assert cents(early, late) == pytest.approx(expected, abs=0.05)


def test_the_string_comes_down_on_the_fret_when_the_corner_has_passed() -> None:
    # derived: the corner of the pluck runs at c = sqrt(T/μ); at x it passes after (x_p − x)/c,
    # and from then the place moves down at c·h/2·(1/x_p + 1/(L − x_p)), h/(x_p/L) its height
    length, mass_m, tension, fs = 0.6, 1e-3, 70.0, 352800
    c = np.sqrt(tension / mass_m)
    at, place, height, room = 0.48, 0.1, 0.6e-3, 0.02e-3
    n = np.arange(1, 400.0)
    omega = np.pi * n * c / length
    p = at / length
    q = height * np.sin(n * np.pi * p) / n**2 * 2 / (np.pi**2 * p * (1 - p))
    _, pressed, _, _ = strike_run(
        q.copy(),
        q * np.cos(omega / fs),
        2 * np.cos(omega / fs),
        np.ones(n.size),
        np.ones(n.size),
        np.sin(np.pi * np.outer([place], n) / length),
        np.array([room]),
        2 / (fs**2 * mass_m * length),
        3e5,
        0.0,
        int(0.004 * fs),
    )
    falls = c * height / 2 * (1 / at + 1 / (length - at))
    first = (at - place) / c + (height * place / at + room) / falls
    # 10 µs: the corner is rounded over 1/400 of the string
    assert np.flatnonzero(pressed[0])[0] / fs == pytest.approx(first, abs=1e-5)


def test_what_contact_adds_does_not_hang_on_the_step() -> None:
    # the scheme conserves energy at any step; a string that rattles is sensitive to everything,
    # so the mean over notes is compared: 2 dB, in bands an octave wide
    levels = []
    for rate in (44100, 176400):
        rows = []
        for string, fret in ((5, 8), (4, 8), (3, 8), (2, 8), (5, 5), (4, 5), (3, 5), (2, 5)):
            high = Fault(kind="fret", fret=fret + 1, amount=0.13)
            event = picked(string, fret, amplitude_mm=0.7)
            note = sound(simulated(faults=(high,)), event, 0.6, rate=rate)
            assert note.contact
            x = note.signal[int(0.05 * rate) :]
            power = np.abs(np.fft.rfft(x)) ** 2 / x.size / rate
            f = np.fft.rfftfreq(x.size, 1 / rate)
            rows.append(
                [power[(f > lo) & (f < 2 * lo)].sum() for lo in (175, 350, 700, 1400, 2800)]
            )
        levels.append(10 * np.log10(np.sum(rows, axis=0)))
    print("octaves from 175 Hz, change in dB with the step:", np.round(levels[1] - levels[0], 2))
    np.testing.assert_allclose(levels[0], levels[1], atol=2.0)


def test_contact_moves_energy_from_low_to_high_partials() -> None:
    # strikes once a period move energy up; nothing is added in all. Published qualitatively
    # (Issanchou et al., J. Sound Vib. 393); the direction is checked, not a size
    guitar = simulated(faults=(Fault(kind="fret", fret=9, amount=0.13),))
    note = sound(guitar, picked(4, 8, amplitude_mm=0.5), 0.6)
    f = np.fft.rfftfreq(note.signal.size, 1 / RATE)
    struck, free = (np.abs(np.fft.rfft(x)) ** 2 for x in (note.signal, note.free))
    assert struck[f < 700].sum() < free[f < 700].sum()
    assert struck[(f > 2000) & (f < 8000)].sum() > 2 * free[(f > 2000) & (f < 8000)].sum()


@pytest.mark.parametrize("height_mm", [0.4, 0.8])
def test_a_string_that_rests_on_a_higher_fret_sounds_that_fret(height_mm: float) -> None:
    # derived: it leaves the neck there, +100 cents for each fret between, with the decay of that
    # fret; 5 cents for the stretch of pressing over the hump
    high = simulated(faults=(Fault(kind="fret", fret=9, amount=height_mm),))
    note = sound(high, picked(3, 8), 1.2)
    assert note.sounding_fret == 9
    hz, _ = partial(note.signal, note.pitch_hz, width_hz=60.0, from_s=0.2, to_s=1.0)
    assert cents(hz, PLAIN_STEEL.pitch_hz(3, 8)) == pytest.approx(100.0, abs=5.0)


def test_the_fret_that_is_struck_is_the_one_that_is_high() -> None:
    how = Performance(pace_s=0.3, amplitude_mm=0.5, passes="up", strings=(3,), last_fret=12)
    for fret in (4, 7, 11):
        high = SimGuitar.from_guitar(
            PLAIN_STEEL, faults=(Fault(kind="fret", fret=fret, amount=0.13),), roughness_mm=0.0
        )
        truth = simulate_take(high, how, Chain(), seed=1).truth
        struck = [n for n in truth if n.contact]
        assert struck
        assert {n.struck_frets[0] for n in struck} == {fret}
        assert all(n.fret < fret for n in struck)


def test_a_pick_that_pushes_towards_the_neck_strikes_less() -> None:
    # derived: such a pluck swings farthest where there are no frets, by the pick
    away = picked(3, 5, amplitude_mm=0.9)
    towards = replace(away, angle_deg=-85.0)
    impulse = sound(simulated(), away, 0.5).impulse_ns
    assert impulse > 0.0
    assert sound(simulated(), towards, 0.5).impulse_ns < 0.1 * impulse


def test_a_whole_run_renders_in_time() -> None:
    guitar = SimGuitar.from_guitar(PLAIN_STEEL)
    start = time.process_time()
    take = simulate_take(guitar, Performance(pace_s=1.0), Chain(), seed=1)
    seconds = time.process_time() - start
    print(f"{len(take.truth)} notes of a second: {seconds:.1f} s of processor time")
    assert len(take.truth) == 6 * 23 * 2
    # 180 s on two processors are promised for 270 notes of two seconds
    assert seconds < 90.0
