"""The simulated instrument: faults, resonances and what the guitar file leaves open."""

from dataclasses import replace

import numpy as np
import pytest

from buzzscan.errors import GuitarError
from buzzscan.guitar import Guitar
from buzzscan.simulate import Fault, Resonance, SimGuitar, drawn_body

HIGH_9 = Fault(kind="fret", fret=9, amount=0.2)
LEVEL = SimGuitar.from_guitar(Guitar(), roughness_mm=0.0)


def _room(guitar: SimGuitar, string: int, fret: int, ahead: int) -> float:
    frets, room = guitar.line(string).clearances(fret)
    return float(room[frets == ahead][0])


def test_faults_must_be_on_the_guitar() -> None:
    with pytest.raises(GuitarError, match="fret is 30, need 1 to 22"):
        SimGuitar.from_guitar(Guitar(), faults=(Fault(kind="fret", fret=30, amount=0.1),))
    with pytest.raises(GuitarError, match="string 7 is not on this guitar"):
        SimGuitar.from_guitar(Guitar(), faults=(replace(HIGH_9, strings=(7,)),))


def test_a_changed_copy_has_its_own_neck() -> None:
    before = _room(LEVEL, 3, 8, 9)
    high = replace(LEVEL, faults=(HIGH_9,))
    assert _room(high, 3, 8, 9) == pytest.approx(before - 0.2)
    assert _room(LEVEL, 3, 8, 9) == pytest.approx(before)


@pytest.mark.parametrize(
    ("fault", "string", "fret", "ahead", "change_mm"),
    [
        (Fault(kind="fret", fret=9, amount=0.2), 3, 0, 9, -0.2),
        (Fault(kind="fret", fret=9, amount=0.2, strings=(1, 2)), 3, 0, 9, 0.0),
        # derived: lifting the stop lifts the line by its share of what is left of the string
        (Fault(kind="fret", fret=9, amount=-0.2), 3, 9, 21, -0.1),
        (Fault(kind="nut slot", amount=-0.1), 3, 0, 12, -0.05),
        (Fault(kind="nut slot", amount=-0.1), 3, 1, 12, 0.0),
        (Fault(kind="action", amount=-0.4), 3, 0, 12, -0.4),
        (Fault(kind="rising end", fret=12, amount=0.3), 3, 0, 17, -0.15),
        (Fault(kind="rising end", fret=12, amount=0.3), 3, 0, 12, 0.0),
        (Fault(kind="tuning", amount=20.0), 3, 0, 12, 0.0),
    ],
)
def test_what_a_fault_takes_from_the_room(
    fault: Fault, string: int, fret: int, ahead: int, change_mm: float
) -> None:
    changed = _room(replace(LEVEL, faults=(fault,)), string, fret, ahead) - _room(
        LEVEL, string, fret, ahead
    )
    assert changed == pytest.approx(change_mm, abs=1e-9)


def test_less_relief_brings_the_middle_frets_up() -> None:
    straight = replace(LEVEL, faults=(Fault(kind="relief", amount=-0.2),))
    lost = [_room(LEVEL, 3, 0, f) - _room(straight, 3, 0, f) for f in (1, 8, 22)]
    # a bow of 0.2 mm: none at the ends, nearly all in the middle
    assert lost[0] == pytest.approx(0.0, abs=1e-9)
    assert lost[2] == pytest.approx(0.0, abs=1e-9)
    assert 0.19 < lost[1] <= 0.2


def test_a_saddle_fault_flattens_fretted_notes_as_derived() -> None:
    # derived: c mm at the saddle shift the 12th against the open string by −1200/ln 2·c/L cents
    long = replace(LEVEL, faults=(Fault(kind="saddle", amount=1.0),))
    ratio = [g.length_mm(3, 12) / g.length_mm(3, 0) for g in (LEVEL, long)]
    shift = -1200 * np.log2(ratio[1] / ratio[0])
    assert shift == pytest.approx(-1200 / np.log(2) / 647.7, rel=0.03)


def test_roughness_stays_with_the_neck() -> None:
    rough = SimGuitar.from_guitar(Guitar(), roughness_mm=0.02, roughness_seed=5)
    again = SimGuitar.from_guitar(Guitar(), roughness_mm=0.02, roughness_seed=5)
    other = SimGuitar.from_guitar(Guitar(), roughness_mm=0.02, roughness_seed=6)
    np.testing.assert_array_equal(rough.height_errors_mm(2), again.height_errors_mm(2))
    assert np.any(rough.height_errors_mm(2) != other.height_errors_mm(2))
    spread = np.std([rough.height_errors_mm(s)[1:] for s in range(1, 7)])
    # 132 draws: four standard errors of 6 %
    assert spread == pytest.approx(0.02, rel=0.25)


def test_a_resonance_conducts_most_at_its_frequency() -> None:
    # definition of Q: half the conductance where the detuning f/f0 − f0/f is 1/Q
    guitar = replace(
        LEVEL, resonances=(Resonance(frequency_hz=200.0, conductance_s_kg=0.01, q=20),)
    )
    half = 200.0 * (np.sqrt(1 + 1 / 1600) + 1 / 40)
    got = guitar.conductance(np.array([200.0, half, 400.0]))
    np.testing.assert_allclose(got[:2], [0.01, 0.005], rtol=1e-9)
    assert got[2] < 1e-4
    assert (
        guitar.mobility(np.array([190.0]))[0].imag > 0 > guitar.mobility(np.array([210.0]))[0].imag
    )


def test_a_drawn_body_is_the_same_for_the_same_generator() -> None:
    a, b = (drawn_body(np.random.default_rng(7)) for _ in range(2))
    assert a == b
    assert len(a) > 10
    assert all(80.0 <= r.frequency_hz <= 4000.0 and r.conductance_s_kg > 0 for r in a)


@pytest.mark.parametrize(
    ("tuning", "scale_mm"),
    [
        (("E1", "A1", "D2", "G2"), 863.6),
        (("B1", "E2", "A2", "D3", "G3", "B3", "E4"), 647.7),
        (("D2", "A2", "D3", "G3", "B3", "E4"), 647.7),
    ],
)
def test_basses_and_seven_strings_are_told_apart(tuning: tuple[str, ...], scale_mm: float) -> None:
    guitar = SimGuitar.from_guitar(Guitar(tuning=tuning))
    assert guitar.scale_mm == scale_mm
    assert len(guitar.strings) == len(tuning)
    assert all(40.0 < s.tension_n < 250.0 for s in guitar.strings)
