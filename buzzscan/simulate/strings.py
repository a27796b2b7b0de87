"""Strings: mass, stiffness, losses and the small pitch effects of playing them.

Conventions
-----------
SI units inside this module except where a name carries another unit. Partials are counted
from 1. Losses are given as a quality factor Q or as a decay rate σ in 1/s (amplitude falls as
exp(−σt)).

Limits
------
A wound string is a steel core that carries the stiffness and a winding that only adds mass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = [
    "PLAIN_LIMIT_MM",
    "STEEL_DENSITY",
    "STEEL_YOUNG",
    "StringSpec",
    "fretting_stretch_cents",
    "glide_cents",
    "partial_frequencies",
    "plain_inharmonicity",
    "string_from_gauge",
    "string_from_pitch",
    "valette_q",
    "woodhouse_q",
]

Array = npt.NDArray[np.float64]

STEEL_YOUNG = 206.8e9
"""Young's modulus of music wire in Pa (Hodgkinson et al., DAFx-09)."""

STEEL_DENSITY = 7850.0
"""Density of music wire in kg/m³ (ASTM A228 wire)."""

WOUND_MASS_RATIO = 0.81
"""Mass of a wound string over solid steel of its gauge: a .046 in string of 0.00038216 lb/in
(a string maker's published unit weight) is 0.81 of solid wire."""

WOUND_CORE_RATIO = 0.38
"""Core diameter over gauge of a wound string (common practice, no source)."""

PLAIN_LIMIT_MM = 0.47
"""Thickest plain guitar string assumed when gauges are unknown (common practice, no source)."""

GUITAR_TENSION_N = 72.0
"""Tension assumed when gauges are unknown: near that of the published light-set values."""

BASS_TENSION_N = 180.0
"""Same for a bass: near the 191.6 N of the measured bass string (Issanchou et al.)."""

AIR_DENSITY = 1.2
AIR_VISCOSITY = 1.8e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class StringSpec:
    """One string as it is strung.

    Parameters
    ----------
    core_mm
        Diameter of the part that resists bending.
    gauge_mm
        Outer diameter.
    mass_kg_m
        Mass per metre.
    tension_n
        Tension of the open string.
    wound
        True for a wound string.
    measured
        Partials of the open string that were measured, as (number, Hz, decay rate in 1/s):
        they take the place of the model's.
    """

    core_mm: float
    gauge_mm: float
    mass_kg_m: float
    tension_n: float
    wound: bool
    measured: tuple[tuple[int, float, float], ...] = ()

    @property
    def bending(self) -> float:
        """Bending stiffness EI of the core in N·m²."""
        return STEEL_YOUNG * np.pi * (self.core_mm * 1e-3) ** 4 / 64.0

    @property
    def stretching(self) -> float:
        """Stretching stiffness EA of the core in N."""
        return STEEL_YOUNG * np.pi * (self.core_mm * 1e-3) ** 2 / 4.0

    def inharmonicity(self, length_m: float) -> float:
        """Return B for a vibrating length: π²EI/(TL²)."""
        return float(np.pi**2 * self.bending / (self.tension_n * length_m**2))


def plain_inharmonicity(*, diameter_m: float, tension_n: float, length_m: float) -> float:
    """Return B = π³Ed⁴/(64TL²) of a plain steel string.

    Source: Hodgkinson, Wang, Timoney, Lazzarini, DAFx-09, eq. 1-2.
    """
    return float(np.pi**3 * STEEL_YOUNG * diameter_m**4 / (64.0 * tension_n * length_m**2))


def string_from_gauge(
    gauge_mm: float, *, wound: bool, open_hz: float, scale_m: float
) -> StringSpec:
    """Return a string of a gauge tuned to a pitch: T = μ(2Lf)²."""
    mass = STEEL_DENSITY * np.pi * (gauge_mm * 1e-3) ** 2 / 4.0
    core = gauge_mm
    if wound:
        mass *= WOUND_MASS_RATIO
        core = gauge_mm * WOUND_CORE_RATIO
    return StringSpec(
        core_mm=core,
        gauge_mm=gauge_mm,
        mass_kg_m=float(mass),
        tension_n=float(mass * (2.0 * scale_m * open_hz) ** 2),
        wound=wound,
    )


def string_from_pitch(open_hz: float, *, scale_m: float, bass: bool) -> StringSpec:
    """Return a string of common tension for a pitch, for a guitar whose gauges are unknown."""
    tension = BASS_TENSION_N if bass else GUITAR_TENSION_N
    mass = tension / (2.0 * scale_m * open_hz) ** 2
    gauge = float(np.sqrt(4.0 * mass / (np.pi * STEEL_DENSITY)) * 1e3)
    wound = gauge > PLAIN_LIMIT_MM
    if wound:
        gauge /= float(np.sqrt(WOUND_MASS_RATIO))
    return string_from_gauge(gauge, wound=wound, open_hz=open_hz, scale_m=scale_m)


def partial_frequencies(f0_hz: float, inharmonicity: float, n: Array) -> Array:
    """Return n·f0·sqrt(1 + B·n²) in Hz."""
    return np.asarray(n * f0_hz * np.sqrt(1.0 + inharmonicity * n**2))


def valette_q(
    frequency_hz: Array,
    *,
    diameter_m: float,
    mass_kg_m: float,
    tension_n: float,
    bending: float,
    loss_angle: float,
    q_te_inverse: float,
) -> Array:
    """Return Q of each partial of a metal string: air, viscoelastic and thermoelastic losses.

    1/Q = R/(2πμf) + 4π²μ·EI·δ/T²·f² + 1/Qte with R = 2πη + 2πd·sqrt(πηρf).

    Parameters
    ----------
    frequency_hz
        Frequencies, above 0.
    loss_angle
        Viscoelastic loss angle δve, for example 4.5e-3.
    q_te_inverse
        Constant loss 1/Qte, for example 2.03e-4.

    Notes
    -----
    Valette & Cuesta's model in the form of Issanchou's thesis, eq. 2.20; see also Issanchou,
    Bilbao, Le Carrou, Touzé & Doaré, J. Sound Vib. 393 (2017).
    """
    f = np.asarray(frequency_hz, np.float64)
    drag = 2 * np.pi * AIR_VISCOSITY + 2 * np.pi * diameter_m * np.sqrt(
        np.pi * AIR_VISCOSITY * AIR_DENSITY * f
    )
    air = drag / (2 * np.pi * mass_kg_m * f)
    visco = 4 * np.pi**2 * mass_kg_m * bending * loss_angle / tension_n**2 * f**2
    return np.asarray(1.0 / (air + visco + q_te_inverse))


def woodhouse_q(
    n: Array,
    *,
    f0_hz: float,
    tension_n: float,
    bending: float,
    length_m: float,
    eta_f: float,
    eta_a: float,
    eta_b: float,
) -> Array:
    """Return Q of each partial from internal friction, air and bending losses.

    η = [T(ηF + ηA/ω) + EI·ηB·(nπ/L)²] / [T + EI·(nπ/L)²], Q = 1/η.

    Source: Woodhouse, Acta Acustica 90 (2004), eq. 8.
    """
    k2 = (np.asarray(n, np.float64) * np.pi / length_m) ** 2
    omega = 2 * np.pi * f0_hz * n * np.sqrt(1 + bending * k2 / tension_n)
    eta = (tension_n * (eta_f + eta_a / omega) + bending * eta_b * k2) / (tension_n + bending * k2)
    return np.asarray(1.0 / eta)


def fretting_stretch_cents(
    spec: StringSpec, *, drop_mm: float, at_mm: float, scale_mm: float
) -> float:
    """Return how many cents pressing a string down by `drop_mm` raises its tension's pitch.

    The string is lengthened to two straight parts; ΔT = EA·strain, cents = 600/ln2·ΔT/T.
    """
    rest = scale_mm - at_mm
    stretch = (drop_mm**2 / (2 * at_mm) if at_mm > 0 else 0.0) + drop_mm**2 / (2 * rest)
    strain = stretch / scale_mm
    return float(600.0 / np.log(2.0) * spec.stretching * strain / spec.tension_n)


def glide_cents(spec: StringSpec, *, amplitude_mm: float, length_mm: float) -> float:
    """Return how sharp a vibration of this amplitude makes a string, averaged over a period.

    Mean strain of a sinusoidal shape π²A²/(8L²) raises the tension (Kirchhoff-Carrier).
    """
    strain = np.pi**2 * amplitude_mm**2 / (8.0 * length_mm**2)
    return float(600.0 / np.log(2.0) * spec.stretching * strain / spec.tension_n)
