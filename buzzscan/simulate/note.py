"""One note: the string plucked at a place, with and without the frets ahead.

Conventions
-----------
The string is simulated at twice the output rate and brought down by a linear-phase filter.
Two polarisations: towards the neck (strikes frets) and along the frets (does not).

Limits
------
Partials above `TOP_HZ` are left out. The glide of the attack is put on the finished signal as
a slow change of speed, the same with and without contact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.simulate.instrument import SimGuitar
from buzzscan.simulate.performance import Event
from buzzscan.simulate.strings import glide_cents, valette_q

__all__ = ["NoteSound", "sound_note"]

Array = npt.NDArray[np.float64]

OVERSAMPLING = 2
TOP_HZ = 15000.0
LOSS_ANGLE = 4.5e-3
"""Viscoelastic loss angle of steel (Issanchou's thesis, measured bass string)."""
Q_TE_INVERSE = (2.03e-4, 9e-4)
"""Constant loss of a plain string (same source) and of a wound one (friction between the
turns: common practice, no source; gives the T60 of several seconds that such strings have)."""
CONTACT_STIFFNESS = 3e5
"""Contact spring in N/m: stiff against T/L (about 1e2), soft enough for the step."""
FREE_OF_CONTACT_S = 0.05
REACH_FACTOR = 1.6
"""Frets whose room exceeds this multiple of the pluck's envelope cannot be reached."""
MIN_STRIKES = 3
"""Fewer strikes than this after the attack are not contact that anybody hears."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteSound:
    """A note as the string makes it.

    Parameters
    ----------
    signal, free
        With and without the frets ahead, shape (n,), at the output rate; arbitrary unit.
    pitch_hz, inharmonicity, decay_db_per_s
        Of the first partial, contact left out.
    sounding_fret
        The fret the string really leaves.
    strikes, contact_until_s, contact
        Strikes after the attack, the last of them, and whether they count as contact.
    """

    signal: Array
    free: Array
    pitch_hz: float
    inharmonicity: float
    decay_db_per_s: float
    sounding_fret: int
    strikes: int
    contact_until_s: float
    contact: bool


def envelope_mm(x_mm: Array, *, length_mm: float, pluck_mm: float, amplitude_mm: float) -> Array:
    """Return the farthest the plucked string swings at each place, same shape as `x_mm`.

    A triangular pluck runs around a parallelogram; the far side mirrors the near side about
    the middle of the string. `x_mm` and `pluck_mm` are distances from the stop and the saddle.
    """
    peak = length_mm - pluck_mm
    mirrored = length_mm - x_mm
    swing = np.where(mirrored <= peak, mirrored / peak, (length_mm - mirrored) / pluck_mm)
    return np.asarray(amplitude_mm * swing)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Modes:
    length_m: float
    n: Array
    f_hz: Array
    sigma: Array
    mass_kg: float


def _modes(guitar: SimGuitar, event: Event, sounding: int) -> _Modes:
    spec = guitar.strings[-event.string]
    length = guitar.length_mm(event.string, sounding) / 1e3
    open_hz = guitar.guitar.pitch_hz(event.string, 0)
    cents = guitar.open_cents(event.string) + guitar.fretting_cents(event.string, event.fret)
    b = spec.inharmonicity(length)
    # the tuner reads the open string's first partial, so its stiffness is tuned away there
    open_length = guitar.length_mm(event.string, 0) / 1e3
    open_f0 = open_hz / np.sqrt(1.0 + spec.inharmonicity(open_length))
    f0 = open_f0 * 2.0 ** (cents / 1200.0) * open_length / length
    top = int(TOP_HZ / f0) + 1
    n = np.arange(1, top + 1, dtype=np.float64)
    f = n * f0 * np.sqrt(1.0 + b * n**2)
    keep = f < TOP_HZ
    n, f = n[keep], f[keep]
    q = valette_q(
        f,
        diameter_m=spec.gauge_mm / 1e3,
        mass_kg_m=spec.mass_kg_m,
        tension_n=spec.tension_n,
        bending=spec.bending,
        loss_angle=LOSS_ANGLE * guitar.string_loss * (6.0 if spec.wound else 1.0),
        q_te_inverse=Q_TE_INVERSE[int(spec.wound)] * guitar.string_loss,
    )
    sigma = np.pi * f / q + guitar.end_loss_per_s * (1.0 + 0.04 * sounding)
    sigma = sigma + spec.tension_n * guitar.conductance(f) / length
    return _Modes(length_m=length, n=n, f_hz=f, sigma=sigma, mass_kg=spec.mass_kg_m * length)


def _pluck(modes: _Modes, *, at_m: float, amplitude_m: float, width_m: float) -> Array:
    """Return modal displacements of a triangle with a rounded tip."""
    p = at_m / modes.length_m
    tip = np.exp(-0.5 * (modes.n * np.pi * width_m / (2.0 * modes.length_m)) ** 2)
    shape = np.sin(modes.n * np.pi * p) / modes.n**2 * 2.0 / (np.pi**2 * p * (1.0 - p))
    return np.asarray(amplitude_m * shape * tip)


def _glide(signal: Array, *, cents: float, sigma: float, rate: float) -> Array:
    """Return the signal with its start sped up by `cents`, relaxing as the energy falls."""
    if cents < 0.05:
        return signal
    t = np.arange(signal.size) / rate
    extra = (2.0 ** (cents / 1200.0) - 1.0) * (1.0 - np.exp(-2.0 * sigma * t)) / (2.0 * sigma)
    return np.asarray(np.interp(t + extra, t, signal))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    """Where this note stops, what lies ahead of it, and how far it swings (mm)."""

    stop: int
    rests_on: int
    lift: float
    held: bool
    obstacles_x: Array
    room: Array
    swing: Array
    vertical: float


def _setting(guitar: SimGuitar, event: Event, *, amplitude: float, angle: float) -> _Setting:
    line = guitar.line(event.string)
    rests_on, lift = line.sounding_fret(event.fret)
    vertical = amplitude * float(np.sin(angle))
    ahead, room = line.clearances(event.fret)
    x = np.asarray(line.x_mm)[ahead] - line.x_mm[event.fret]
    length_mm = guitar.length_mm(event.string, event.fret)
    swing = envelope_mm(
        x,
        length_mm=length_mm,
        pluck_mm=float(np.clip(event.pluck_mm, 15.0, 0.6 * length_mm)),
        amplitude_mm=vertical,
    )
    # lifted farther than the string swings: it never leaves that fret and simply sounds there
    held = rests_on != event.fret and lift > float(swing[np.flatnonzero(ahead == rests_on)[0]])
    return _Setting(
        stop=rests_on if held else event.fret,
        rests_on=rests_on,
        lift=lift,
        held=held,
        obstacles_x=x,
        room=room,
        swing=swing,
        vertical=vertical,
    )


def _strike(
    guitar: SimGuitar,
    event: Event,
    setting: _Setting,
    modes: _Modes,
    *,
    start: Array,
    recursion: tuple[Array, Array, Array, float, int],
) -> tuple[Array | None, npt.NDArray[np.uint8]]:
    """Return the struck string's output and the frets touched per step, None when untouched."""
    from buzzscan.simulate.collision import strike_run

    c1, c2, weights, k, steps = recursion
    near = setting.room <= REACH_FACTOR * setting.swing + 0.02
    if setting.held or not near.any():
        return None, np.zeros(steps, np.uint8)
    places = setting.obstacles_x[near] / 1e3
    shapes = np.sin(np.pi * np.outer(modes.n, places) / modes.length_m)
    if setting.lift > 0:
        x = guitar.line(event.string).x_mm
        at = (x[setting.rests_on] - x[event.fret]) / 1e3
        start = start + _pluck(modes, at_m=at, amplitude_m=setting.lift / 1e3, width_m=0.0)
    struck, touched, _ = strike_run(
        start.copy(),
        start.copy(),
        c1,
        c2,
        weights,
        shapes,
        setting.room[near] / 1e3,
        np.full(modes.n.size, k**2 * 2.0 / modes.mass_kg),
        CONTACT_STIFFNESS,
        guitar.contact_damping / (2.0 * k),
        steps,
    )
    return (np.asarray(struck[0]) if touched.any() else None), np.asarray(touched)


def sound_note(
    guitar: SimGuitar,
    event: Event,
    *,
    weight_kind: str,
    pickup_mm: float,
    horizontal: float,
    sample_rate_hz: int,
    duration_s: float,
    rng: np.random.Generator,
) -> NoteSound:
    """Return the sound of one note.

    Parameters
    ----------
    guitar, event
        Instrument and pick.
    weight_kind
        "pickup" for the string's velocity over a pickup, "bridge" for the force at the saddle.
    pickup_mm
        Distance of the pickup from the saddle.
    horizontal
        Share of the polarisation along the frets in the output, 0–1.
    sample_rate_hz, duration_s
        Of the output.
    rng
        Draws the small detuning of the polarisations.
    """
    from scipy.signal import resample_poly

    from buzzscan.simulate.collision import free_run

    spec = guitar.strings[-event.string]
    amplitude = event.amplitude_mm * guitar.strings[0].tension_n / spec.tension_n
    angle = float(np.deg2rad(np.clip(event.angle_deg, 5.0, 85.0)))
    setting = _setting(guitar, event, amplitude=amplitude, angle=angle)
    modes = _modes(guitar, event, setting.stop)
    pluck_m = float(np.clip(event.pluck_mm / 1e3, 0.015, 0.6 * modes.length_m))
    start = _pluck(
        modes,
        at_m=modes.length_m - pluck_m,
        amplitude_m=setting.vertical / 1e3,
        width_m=event.pick_width_mm / 1e3,
    )
    fs = sample_rate_hz * OVERSAMPLING
    k = 1.0 / fs
    steps = int(duration_s * fs)
    weights = _weights(modes, spec.tension_n, weight_kind, pickup_mm, fs)
    omega = 2 * np.pi * modes.f_hz

    def run_free(q: Array, cents: float, loss: float) -> Array:
        w, s = omega * 2.0 ** (cents / 1200.0), modes.sigma * loss
        c1, c2 = 2 * np.exp(-s * k) * np.cos(w * k), np.exp(-2 * s * k)
        out = free_run(q.copy(), q * np.cos(w * k), c1, c2, weights, steps)
        return np.asarray(out[0], np.float64)

    detune, loss = float(rng.normal(0.0, 0.5)), float(rng.uniform(1.0, 1.3))
    along = horizontal * run_free(start / np.tan(angle), detune, loss)
    free = run_free(start, 0.0, 1.0) + along
    c1 = 2 * np.exp(-modes.sigma * k) * np.cos(omega * k)
    recursion = (c1, np.exp(-2 * modes.sigma * k), weights, k, steps)
    struck, touched = _strike(guitar, event, setting, modes, start=start, recursion=recursion)
    glide = glide_cents(spec, amplitude_mm=amplitude * 0.8, length_mm=modes.length_m * 1e3)

    def finish(x: Array) -> Array:
        glided = _glide(x, cents=glide, sigma=float(modes.sigma[0]), rate=fs)
        return np.asarray(resample_poly(glided, 1, OVERSAMPLING))

    without = finish(free)
    late = touched[int(FREE_OF_CONTACT_S * fs) :] > 0
    strikes = int(np.count_nonzero(late[1:] & ~late[:-1]))
    return NoteSound(
        signal=without if struck is None else finish(struck + along),
        free=without,
        pitch_hz=float(modes.f_hz[0]),
        inharmonicity=spec.inharmonicity(modes.length_m),
        decay_db_per_s=float(20.0 / np.log(10.0) * modes.sigma[0]),
        sounding_fret=setting.stop,
        strikes=strikes,
        contact_until_s=float(np.flatnonzero(touched)[-1] / fs) if touched.any() else 0.0,
        contact=strikes >= MIN_STRIKES,
    )


def _weights(modes: _Modes, tension_n: float, kind: str, pickup_mm: float, fs: float) -> Array:
    if kind == "bridge":
        # force at the saddle is T·∂w/∂x; the recursion gives velocity, so divide by jω:
        # the level per partial is that of the force, the phase does not matter
        slope = modes.n * np.pi / modes.length_m * np.where(modes.n % 2 == 0, 1.0, -1.0)
        return np.asarray((tension_n * slope / (2 * np.pi * modes.f_hz) * fs)[None, :] * 1e-2)
    at = min(pickup_mm / 1e3, 0.6 * modes.length_m)
    aperture = np.sinc(modes.n * 0.012 / modes.length_m)
    shape = np.sin(modes.n * np.pi * (modes.length_m - at) / modes.length_m)
    return np.asarray((shape * aperture * fs)[None, :])
