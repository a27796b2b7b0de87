"""Whole takes: the truth agrees with the samples, and the same seed gives the same bytes."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from buzzscan.guitar import Guitar
from buzzscan.simulate import (
    Chain,
    Fault,
    Performance,
    Resonance,
    SimGuitar,
    simulate_take,
)

RECORDINGS = Path(__file__).parents[1] / "recordings"
ONE_STRING = Performance(
    pace_s=0.5, amplitude_mm=0.4, strings=(3,), first_fret=5, last_fret=9, passes="up"
)
HIGH_9 = Fault(kind="fret", fret=9, amount=0.2)


def _note(samples: np.ndarray, rate: int, start_s: float, stop_s: float) -> np.ndarray:
    return samples[int(start_s * rate) : int(stop_s * rate)]


def _peak_hz(x: np.ndarray, rate: int, near_hz: float) -> float:
    n = 1 << 19
    spectrum = np.abs(np.fft.rfft(x * np.hanning(x.size), n))
    f = np.fft.rfftfreq(n, 1 / rate)
    band = (f > near_hz * 0.97) & (f < near_hz * 1.03)
    return float(f[band][np.argmax(spectrum[band])])


def test_the_first_partial_is_where_the_truth_says() -> None:
    take = simulate_take(SimGuitar.from_guitar(Guitar()), ONE_STRING, Chain(), seed=3)
    for note in take.truth:
        x = _note(take.samples, take.sample_rate_hz, note.onset_s + 0.1, note.end_s)
        measured = _peak_hz(x, take.sample_rate_hz, note.pitch_hz)
        # two polarisations half a cent apart and the last of the glide: 1.5 cents
        assert abs(1200 * np.log2(measured / note.pitch_hz)) < 1.5


def test_nothing_sounds_before_an_onset_and_something_after() -> None:
    chain = Chain(noise_dbfs=-140.0)
    take = simulate_take(SimGuitar.from_guitar(Guitar()), ONE_STRING, chain, seed=3)
    first = take.truth[0].onset_s
    assert np.abs(_note(take.samples, 44100, 0.0, first - 0.001)).max() < 1e-4
    assert np.abs(_note(take.samples, 44100, first, first + 0.02)).max() > 0.05


def test_a_high_fret_is_struck_from_the_note_behind_it_only() -> None:
    clean = simulate_take(SimGuitar.from_guitar(Guitar()), ONE_STRING, Chain(), seed=3)
    assert not any(n.contact for n in clean.truth)
    high = SimGuitar.from_guitar(Guitar(), faults=(HIGH_9,))
    struck = {n.fret for n in simulate_take(high, ONE_STRING, Chain(), seed=3).truth if n.contact}
    assert 8 in struck
    assert 9 not in struck


def test_a_softer_pick_clears_the_high_fret() -> None:
    high = SimGuitar.from_guitar(Guitar(), faults=(replace(HIGH_9, amount=0.12),))
    soft = replace(ONE_STRING, amplitude_mm=0.05)
    assert not any(n.contact for n in simulate_take(high, soft, Chain(), seed=3).truth)


def test_a_string_on_a_much_higher_fret_sounds_that_fret() -> None:
    # the string leaves from fret 9, so it sounds that fret's pitch: +100 cents a fret
    very_high = SimGuitar.from_guitar(Guitar(), faults=(replace(HIGH_9, amount=1.2),))
    take = simulate_take(very_high, ONE_STRING, Chain(), seed=3)
    for note in take.truth:
        if note.fret == 8:
            assert note.sounding_fret == 9
            nominal = Guitar().pitch_hz(3, 9)
            x = _note(take.samples, 44100, note.onset_s + 0.1, note.end_s)
            assert abs(1200 * np.log2(_peak_hz(x, 44100, nominal) / nominal)) < 10.0


@pytest.mark.parametrize(("conductance", "t60_s"), [(1e-3, 14.24), (1e-2, 3.95)])
def test_a_neck_resonance_shortens_the_note(conductance: float, t60_s: float) -> None:
    # derived: σ = σ0 + T·G/L with T 72.1 N, fret 4 of 647.7 mm, σ0 = 0.345 1/s; 1 %
    length = 0.6477 * 2 ** (-4 / 12)
    sigma = 0.345 + 72.1 * conductance / length
    assert np.log(1000) / sigma == pytest.approx(t60_s, rel=0.01)
    hz = Guitar().pitch_hz(1, 4)
    r = Resonance(frequency_hz=hz, conductance_s_kg=conductance)
    bare, dead = SimGuitar.from_guitar(Guitar()), SimGuitar.from_guitar(Guitar(), resonances=(r,))
    how = replace(ONE_STRING, strings=(1,), first_fret=4, last_fret=4)
    rates = [simulate_take(g, how, Chain(), seed=1).truth[0].decay_db_per_s for g in (bare, dead)]
    tension = bare.strings[-1].tension_n
    added = (rates[1] - rates[0]) * np.log(10) / 20
    assert added == pytest.approx(tension * conductance / length, rel=0.02)


def test_same_seed_same_samples() -> None:
    guitar = SimGuitar.from_guitar(Guitar(), faults=(HIGH_9,))
    how = replace(ONE_STRING, squeak=0.5, thump=0.5, soft=0.3)
    a, b = (simulate_take(guitar, how, Chain(source="room"), seed=5) for _ in range(2))
    np.testing.assert_array_equal(a.samples, b.samples)
    assert a.truth == b.truth
    other = simulate_take(guitar, how, Chain(source="room"), seed=6)
    assert other.samples.size != a.samples.size or np.any(other.samples != a.samples)


def test_mistakes_of_the_player_are_marked() -> None:
    guitar = SimGuitar.from_guitar(Guitar())
    how = replace(ONE_STRING, repeat=0.5, wrong=0.5, soft=0.3, skip=0.2, passes="up-down")
    marks = {m for n in simulate_take(guitar, how, Chain(), seed=2).truth for m in n.marks}
    assert {"repeat", "wrong", "soft"} <= marks
