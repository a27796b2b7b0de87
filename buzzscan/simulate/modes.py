"""The partials of one stopped string: frequency, loss, how a pick sets them off, how they sound.

Conventions
-----------
SI units. Partials are counted from 1; a decay rate σ means that an amplitude falls as exp(−σt).

Limits
------
Partials above `TOP_HZ` are left out. The neck and the body act on each partial by itself
(first order in their mobility), which holds while a resonance is wider than the loss it causes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.simulate.instrument import SimGuitar
from buzzscan.simulate.strings import valette_q

__all__ = ["Modes", "output_weights", "pluck_shape", "string_modes"]

Array = npt.NDArray[np.float64]

TOP_HZ = 15000.0
LOSS_ANGLE = 4.5e-3
"""Viscoelastic loss angle of steel (Issanchou's thesis, measured bass string)."""
Q_TE_INVERSE = (2.03e-4, 3e-4)
"""Constant loss of a plain string (same source) and of a wound one, whose turns rub: with the
other losses it makes 1/Q about 3.6e-4 from 1 to 3 kHz, as recordings of wound strings on an
electric guitar show (own estimate, no published source)."""
END_LOSS_PER_FRET = 0.04
"""Share by which the loss at the ends grows per fret: the shorter string meets them more often
(common practice, no source)."""
APERTURE_M = 0.012
"""Length of string that a pickup hears (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Modes:
    """Partials of one stopped string.

    Parameters
    ----------
    length_m, mass_kg, tension_n
        Of the vibrating part.
    inharmonicity
        B of the string itself, without what the neck does to its partials.
    n, f_hz, sigma
        Number, frequency and decay rate of each partial, shape (partials,).
    """

    length_m: float
    mass_kg: float
    tension_n: float
    inharmonicity: float
    n: Array
    f_hz: Array
    sigma: Array


def string_modes(
    guitar: SimGuitar, string: int, *, pressed: int, stop: int, end_loss: float = 1.0
) -> Modes:
    """Return the partials of a string that leaves the neck at fret `stop`.

    Parameters
    ----------
    guitar, string
        Instrument and string number.
    pressed
        Fret the finger presses; sets how far the string is stretched.
    stop
        Fret the string leaves from; above `pressed` when it rests on a higher fret.
    end_loss
        Factor on the loss at the ends, for how well the finger holds.

    Notes
    -----
    A mobility Y at an end changes a partial's pole by T/L·Y: its real part (conductance) is
    added to the decay rate, its imaginary part moves the frequency (first-order
    perturbation; T·G/L as in Paté, Le Carrou & Fabre, J. Acoust. Soc. Am. 135 (2014)).
    """
    spec = guitar.strings[-string]
    length = guitar.length_mm(string, stop) / 1e3
    open_length = guitar.length_mm(string, 0) / 1e3
    cents = guitar.open_cents(string) + guitar.fretting_cents(string, pressed)
    # the tuner reads the open string's first partial, so its stiffness is tuned away there
    open_hz = guitar.guitar.pitch_hz(string, 0)
    open_f0 = open_hz / np.sqrt(1.0 + spec.inharmonicity(open_length))
    f0 = open_f0 * 2.0 ** (cents / 1200.0) * open_length / length
    b = spec.inharmonicity(length)
    n = np.arange(1, int(TOP_HZ / f0) + 2, dtype=np.float64)
    f = n * f0 * np.sqrt(1.0 + b * n**2)
    n, f = n[f < TOP_HZ], f[f < TOP_HZ]
    q = valette_q(
        f,
        diameter_m=spec.gauge_mm / 1e3,
        mass_kg_m=spec.mass_kg_m,
        tension_n=spec.tension_n,
        bending=spec.bending,
        loss_angle=LOSS_ANGLE * guitar.string_loss,
        q_te_inverse=Q_TE_INVERSE[int(spec.wound)] * guitar.string_loss,
    )
    ends = guitar.end_loss_per_s * end_loss * (1.0 + END_LOSS_PER_FRET * stop)
    mobility = spec.tension_n / length * guitar.mobility(f)
    sigma = np.pi * f / q + ends + mobility.real
    f = f - mobility.imag / (2.0 * np.pi)
    if stop == 0:
        for partial, hz, per_s in spec.measured:
            at = n == partial
            f[at], sigma[at] = hz, per_s
    return Modes(
        length_m=length,
        mass_kg=spec.mass_kg_m * length,
        tension_n=spec.tension_n,
        inharmonicity=b,
        n=n,
        f_hz=f,
        sigma=sigma,
    )


def pluck_shape(
    modes: Modes, *, at_m: float, amplitude_m: float, width_m: float, release_s: float = 0.0
) -> Array:
    """Return modal displacements of a triangle with a rounded tip, let go within `release_s`.

    Parameters
    ----------
    at_m
        Place of the tip from the stop.
    amplitude_m
        Displacement of the tip, were it sharp.
    width_m
        Width of the pick's contact, which rounds the tip (Gaussian in the mode number).
    release_s
        Time over which the pick slides off; a mode that swings faster is set off less.
    """
    p = at_m / modes.length_m
    tip = np.exp(-0.5 * (modes.n * np.pi * width_m / (2.0 * modes.length_m)) ** 2)
    # a Gaussian in time with the spread of a ramp of that length
    slip = np.exp(-((2.0 * np.pi * modes.f_hz * release_s) ** 2) / 24.0)
    shape = np.sin(modes.n * np.pi * p) / modes.n**2 * 2.0 / (np.pi**2 * p * (1.0 - p))
    return np.asarray(amplitude_m * shape * tip * slip)


def output_weights(modes: Modes, *, kind: str, pickup_mm: float, step_hz: float) -> Array:
    """Return what each mode's change per step contributes to the output, shape (partials,).

    Parameters
    ----------
    kind
        "pickup" for the string's velocity over a pickup, "bridge" for the force at the saddle.
    pickup_mm
        Distance of the pickup from the saddle.
    step_hz
        Steps per second.
    """
    if kind == "bridge":
        # force at the saddle is T·∂w/∂x; the recursion gives velocity, so divide by ω:
        # the level per partial is that of the force, the phase does not matter
        slope = modes.n * np.pi / modes.length_m * np.where(modes.n % 2 == 0, 1.0, -1.0)
        return np.asarray(modes.tension_n * slope / (2 * np.pi * modes.f_hz) * step_hz * 1e-2)
    at = min(pickup_mm / 1e3, 0.6 * modes.length_m)
    aperture = np.sinc(modes.n * APERTURE_M / modes.length_m)
    shape = np.sin(modes.n * np.pi * (modes.length_m - at) / modes.length_m)
    return np.asarray(shape * aperture * step_hz)
