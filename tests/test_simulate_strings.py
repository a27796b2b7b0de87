"""Strings of the simulator against published and derived values."""

import numpy as np
import pytest

from buzzscan.simulate.strings import (
    StringSpec,
    fretting_stretch_cents,
    glide_cents,
    partial_frequencies,
    plain_inharmonicity,
    string_from_gauge,
    valette_q,
    woodhouse_q,
)

INCH_M = 0.0254
POUND_PER_INCH = 0.45359237 / INCH_M
SCALE_M = 25.5 * INCH_M


def test_pitch_of_the_measured_bass_string() -> None:
    # Issanchou et al., published data of a measured bass string: L .863 m, T 191.6 N, 6.7 g/m
    assert np.sqrt(191.6 / 6.7e-3) / (2 * 0.863) == pytest.approx(97.976, abs=0.01)


@pytest.mark.parametrize(
    ("gauge_in", "wound", "open_hz", "tension_n"),
    [(0.010, False, 329.628, 72.12), (0.017, False, 195.998, 73.70), (0.046, True, 82.407, 77.78)],
)
def test_tension_from_gauge(gauge_in: float, wound: bool, open_hz: float, tension_n: float) -> None:  # noqa: FBT001
    # a string maker's published tension guide (unit weights at 25.5 in); plain steel also from
    # ASTM A228 wire density. 1 %: rounding of the published unit weights and our wound mass.
    spec = string_from_gauge(gauge_in * 25.4, wound=wound, open_hz=open_hz, scale_m=SCALE_M)
    assert spec.tension_n == pytest.approx(tension_n, rel=0.01)


@pytest.mark.parametrize(
    ("diameter_in", "tension_n", "expected"),
    [(0.010, 72.12, 1.38e-5), (0.013, 68.42, 4.15e-5), (0.017, 73.70, 1.13e-4)],
)
def test_inharmonicity_of_plain_strings(
    diameter_in: float, tension_n: float, expected: float
) -> None:
    # Hodgkinson et al., DAFx-09, eq. 1-2: B = π³Ed⁴/(64TL²)
    b = plain_inharmonicity(diameter_m=diameter_in * INCH_M, tension_n=tension_n, length_m=SCALE_M)
    assert b == pytest.approx(expected, rel=0.01)


def test_inharmonicity_grows_by_four_at_the_octave() -> None:
    spec = string_from_gauge(0.43, wound=False, open_hz=196.0, scale_m=0.65)
    assert spec.inharmonicity(0.325) / spec.inharmonicity(0.65) == pytest.approx(4.0)


@pytest.mark.parametrize(("b", "partial"), [(1.2246e-3, 10), (3.4017e-3, 6)])
def test_stretch_of_partials(b: float, partial: int) -> None:
    # Kemp, SN Applied Sciences 2:636 (2020): +100 cents over n·f0; 0.1 c is its rounding
    f = partial_frequencies(100.0, b, np.array([float(partial)]))[0]
    assert 1200 * np.log2(f / (100.0 * partial)) == pytest.approx(100.0, abs=0.1)


def test_losses_of_a_steel_string() -> None:
    # Issanchou's thesis, eq. 2.20 (Valette form), worked values at n = 1, 10, 40; 1 %
    length, tension, mass, b = 1.002, 180.5, 1.17e-3, 1.78e-5
    n = np.array([1.0, 10.0, 40.0])
    q = valette_q(
        n * np.sqrt(tension / mass) / (2 * length),
        diameter_m=0.43e-3,
        mass_kg_m=mass,
        tension_n=tension,
        bending=b * tension * length**2 / np.pi**2,
        loss_angle=4.5e-3,
        q_te_inverse=2.03e-4,
    )
    np.testing.assert_allclose(q, [2009, 3482, 2738], rtol=0.01)


def test_losses_of_a_nylon_string() -> None:
    # Woodhouse, Acta Acustica 90 (2004), eq. 8 and table: nylon E4; 0.5 %
    n = np.array([1.0, 10.0])
    f0 = np.sqrt(70.3 / 0.38e-3) / (2 * 0.65)
    f = n * f0 * np.sqrt(1 + 130e-6 * (n * np.pi / 0.65) ** 2 / 70.3)
    q = woodhouse_q(
        n,
        f0_hz=float(f0),
        tension_n=70.3,
        bending=130e-6,
        length_m=0.65,
        eta_f=40e-5,
        eta_a=1.5,
        eta_b=2.4e-2,
    )
    np.testing.assert_allclose(f, [330.9, 3315.7], rtol=0.005)
    np.testing.assert_allclose(q, [891, 1745], rtol=0.005)
    np.testing.assert_allclose(np.log(1000) * q / (np.pi * f), [5.92, 1.16], rtol=0.005)


@pytest.mark.parametrize(
    ("diameter_in", "tension_n", "stretch", "glide"),
    [(0.010, 72.12, 1.53, 1.48), (0.013, 68.42, 2.73, 2.64), (0.017, 73.70, 4.34, 4.18)],
)
def test_pressing_and_digging_in_sharpen(
    diameter_in: float, tension_n: float, stretch: float, glide: float
) -> None:
    # derived: geometry of two straight parts, and Kirchhoff-Carrier mean strain; 1 %
    d = diameter_in * 25.4
    spec = StringSpec(core_mm=d, gauge_mm=d, mass_kg_m=1e-3, tension_n=tension_n, wound=False)
    scale = 25.5 * 25.4
    pressed = fretting_stretch_cents(spec, drop_mm=1.6, at_mm=scale / 2, scale_mm=scale)
    assert pressed == pytest.approx(stretch, rel=0.01)
    assert glide_cents(spec, amplitude_mm=2.0, length_mm=scale) == pytest.approx(glide, rel=0.01)
    quarter = glide_cents(spec, amplitude_mm=1.0, length_mm=scale)
    assert quarter == pytest.approx(glide / 4, rel=0.01)


def test_unit_weight_of_a_wound_string() -> None:
    # published unit weight of a .046 wound string: 0.00038216 lb/in
    spec = string_from_gauge(0.046 * 25.4, wound=True, open_hz=82.407, scale_m=SCALE_M)
    assert spec.mass_kg_m == pytest.approx(0.00038216 * POUND_PER_INCH, rel=0.01)
