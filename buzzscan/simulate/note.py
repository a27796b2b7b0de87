"""One note: the string plucked at a place, with and without the frets ahead.

Conventions
-----------
The string is simulated at a higher rate than the output and brought down by a linear-phase
filter. It vibrates in two directions at right angles, turned by `SimGuitar.axes_deg` from
straight into the neck; what of them points into the neck strikes frets.

Limits
------
The glide of the attack is put on the finished signal as a slow change of speed, the same with
and without contact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from buzzscan.simulate.instrument import SimGuitar
from buzzscan.simulate.modes import Modes, output_weights, pluck_shape, string_modes
from buzzscan.simulate.performance import Event
from buzzscan.simulate.plucking import Setting, set_note
from buzzscan.simulate.strings import glide_cents

__all__ = ["NoteSound", "sound_note"]

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

LOWEST_STEP_HZ = 64000.0
"""Slowest simulation: every partial must stay well below half of it."""
LEAST_OVERSAMPLING = 2
CONTACT_STIFFNESS = 3e5
"""Contact spring in N/m: stiff against T/L (about 1e2), soft enough for the step."""
ATTACK_S = 0.05
"""Strikes before this belong to the attack."""
JUDGED_UNTIL_S = 0.6
MIN_STRIKES = 3
"""Fewer strikes than this after the attack are not contact that anybody hears."""
GLIDE_SHARE = 0.8
"""Amplitude of the first partial over that of the pluck (8/π² for a pluck in the middle)."""
LEAST_GLIDE_CENTS = 0.05
MORE_LOSS = (1.0, 1.3)
"""Range of the second direction's losses over the first's (common practice, no source)."""


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
    struck_frets, impulse_ns
        Frets struck after the attack, hardest first, and the momentum they return in N·s,
        both over the whole note.
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
    struck_frets: tuple[int, ...]
    impulse_ns: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Player:
    """What turns modes into samples: rates, what is heard, how the directions differ."""

    up: int
    step_hz: float
    steps: int
    kind: str
    pickup_mm: float
    horizontal: float
    axes: float
    detune_cents: float
    more_loss: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """Modes of both directions, one after the other, ready to be stepped from rest.

    `back` times a displacement is the displacement one step before; `into` times a shape is
    what a mode of that shape moves into the neck.
    """

    q: Array
    back: Array
    c1: Array
    c2: Array
    weights: Array
    into: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _Contact:
    """What the frets did; `signal` is None when none was touched. Per fret: pressed, impulse."""

    signal: Array | None
    frets: npt.NDArray[np.intp]
    pressed: Flags
    impulse_ns: Array


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
        Share of the motion along the frets in the output, 0–1.
    sample_rate_hz, duration_s
        Of the output.
    rng
        Draws how the two directions differ in pitch and loss.
    """
    up = max(LEAST_OVERSAMPLING, int(np.ceil(LOWEST_STEP_HZ / sample_rate_hz)))
    player = _Player(
        up=up,
        step_hz=float(sample_rate_hz * up),
        steps=int(duration_s * sample_rate_hz * up),
        kind=weight_kind,
        pickup_mm=pickup_mm,
        horizontal=horizontal,
        axes=float(np.deg2rad(guitar.axes_deg)),
        detune_cents=float(rng.normal(0.0, guitar.detune_cents)),
        more_loss=float(rng.uniform(*MORE_LOSS)),
    )
    setting = set_note(guitar, event)
    modes, run = _ready(guitar, event, setting, player, stop=setting.stop)
    contact = _strike(guitar, setting, modes, run, player)
    sounding = _sounding_fret(setting, contact, player)
    if sounding != setting.stop:
        modes, run = _ready(guitar, event, setting, player, stop=sounding)
    cents = glide_cents(
        guitar.strings[-event.string],
        amplitude_mm=GLIDE_SHARE * setting.pluck.size_mm,
        length_mm=modes.length_m * 1e3,
    )
    sigma = float(modes.sigma[0])
    free = _finished(_free(run, player), cents=cents, sigma=sigma, player=player)
    struck = contact.signal
    return NoteSound(
        signal=free
        if struck is None
        else _finished(struck, cents=cents, sigma=sigma, player=player),
        free=free,
        pitch_hz=float(modes.f_hz[0]),
        inharmonicity=modes.inharmonicity,
        decay_db_per_s=float(20.0 / np.log(10.0) * sigma),
        sounding_fret=sounding,
        **_strikes(contact, player),
    )


def _strikes(contact: _Contact, player: _Player) -> dict[str, Any]:
    """Return the fields of `NoteSound` that tell what the frets did."""
    late = contact.pressed[:, int(ATTACK_S * player.step_hz) :]
    strikes = int(np.count_nonzero(np.diff(late.any(axis=0).astype(np.int8)) == 1))
    hit = np.flatnonzero(late.any(axis=1))
    hardest = hit[np.argsort(-contact.impulse_ns[hit], kind="stable")]
    pressed_at = np.flatnonzero(contact.pressed.any(axis=0))
    return {
        "strikes": strikes,
        "contact": strikes >= MIN_STRIKES,
        "contact_until_s": float(pressed_at[-1] / player.step_hz) if pressed_at.size else 0.0,
        "struck_frets": tuple(contact.frets[hardest].tolist()),
        "impulse_ns": float(contact.impulse_ns.sum()),
    }


def _ready(
    guitar: SimGuitar, event: Event, setting: Setting, player: _Player, *, stop: int
) -> tuple[Modes, _Run]:
    """Return the modes of a string that leaves the neck at `stop`, plucked."""
    modes = string_modes(
        guitar, event.string, pressed=event.fret, stop=stop, end_loss=event.end_loss
    )
    from_saddle = min(setting.pluck.from_saddle_mm / 1e3, 0.6 * modes.length_m)
    shape = pluck_shape(
        modes,
        at_m=modes.length_m - from_saddle,
        amplitude_m=1e-3,
        width_m=event.pick_width_mm / 1e3,
        release_s=event.release_s,
    )
    heard = output_weights(
        modes, kind=player.kind, pickup_mm=player.pickup_mm, step_hz=player.step_hz
    )
    # displacement away from the neck is u·cos − v·sin of the directions u and v, along the
    # frets u·sin + v·cos
    cos, sin = np.cos(player.axes), np.sin(player.axes)
    away, along = setting.pluck.away_mm, setting.pluck.along_mm
    h = player.horizontal
    k = 1.0 / player.step_hz
    detune = 2.0 ** (player.detune_cents / 1200.0)
    turn = 2.0 * np.pi * k * np.concatenate([modes.f_hz, modes.f_hz * detune])
    fall = k * np.concatenate([modes.sigma, modes.sigma * player.more_loss])
    run = _Run(
        q=np.concatenate([shape * (away * cos + along * sin), shape * (along * cos - away * sin)]),
        back=np.exp(fall) * np.cos(turn),
        c1=2.0 * np.exp(-fall) * np.cos(turn),
        c2=np.exp(-2.0 * fall),
        weights=np.concatenate([heard * (cos + h * sin), heard * (h * cos - sin)]),
        into=np.repeat([cos, -sin], modes.n.size),
    )
    return modes, run


def _free(run: _Run, player: _Player) -> Array:
    """Return the string without frets ahead."""
    from buzzscan.simulate.collision import free_run

    q_before = run.q * run.back
    return np.asarray(free_run(run.q.copy(), q_before, run.c1, run.c2, run.weights, player.steps))


def _strike(
    guitar: SimGuitar, setting: Setting, modes: Modes, run: _Run, player: _Player
) -> _Contact:
    """Return the string over the frets ahead, lifted where it rests on one."""
    from buzzscan.simulate.collision import strike_run

    n_frets = setting.frets.size
    if n_frets == 0:
        none = np.zeros((0, player.steps), np.bool_)
        return _Contact(signal=None, frets=setting.frets, pressed=none, impulse_ns=np.zeros(0))
    q = run.q
    if setting.lift_mm > 0.0:
        at = setting.places_mm[setting.frets == setting.rests_on][0] / 1e3
        lift = pluck_shape(modes, at_m=at, amplitude_m=setting.lift_mm / 1e3, width_m=0.0)
        q = q + run.into * np.tile(lift, 2)
    shapes = np.sin(np.pi * np.outer(setting.places_mm / 1e3, modes.n) / modes.length_m)
    signal, pressed, _, impulse = strike_run(
        q.copy(),
        q * run.back,
        run.c1,
        run.c2,
        run.weights,
        np.tile(shapes, 2) * run.into,
        setting.room_mm / 1e3,
        2.0 / (player.step_hz**2 * modes.mass_kg),
        CONTACT_STIFFNESS,
        guitar.contact_damping * player.step_hz / 2.0,
        player.steps,
    )
    return _Contact(
        signal=np.asarray(signal) if pressed.any() else None,
        frets=setting.frets,
        pressed=np.asarray(pressed),
        impulse_ns=np.asarray(impulse) / player.step_hz,
    )


def _sounding_fret(setting: Setting, contact: _Contact, player: _Player) -> int:
    """Return the fret whose note is heard: one that the string lies on most of the time."""
    if setting.lift_mm <= 0.0:
        return setting.stop
    window = slice(int(ATTACK_S * player.step_hz), int(JUDGED_UNTIL_S * player.step_hz))
    lies = contact.pressed[contact.frets == setting.rests_on, window]
    return setting.rests_on if lies.size and lies.mean() > 0.5 else setting.stop


def _finished(signal: Array, *, cents: float, sigma: float, player: _Player) -> Array:
    """Return the signal with the glide of its attack, at the output rate."""
    from scipy.signal import resample_poly

    if cents >= LEAST_GLIDE_CENTS:
        steps = np.arange(signal.size, dtype=np.float64)
        fade = 2.0 * sigma / player.step_hz
        ahead = (2.0 ** (cents / 1200.0) - 1.0) * (1.0 - np.exp(-fade * steps)) / fade
        signal = _at(signal, steps + ahead)
    return np.asarray(resample_poly(signal, 1, player.up))


def _at(signal: Array, steps: Array) -> Array:
    """Return the signal between its samples: cubic Lagrange interpolation."""
    padded = np.pad(signal, (1, 3), mode="edge")
    whole = np.minimum(steps.astype(np.intp), signal.size - 1)
    x = np.minimum(steps - whole, 1.0)
    a, b, c, d = (padded[whole + i] for i in range(4))
    return np.asarray(
        -a * x * (x - 1.0) * (x - 2.0) / 6.0
        + b * (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0
        - c * (x + 1.0) * x * (x - 2.0) / 2.0
        + d * (x + 1.0) * x * (x - 1.0) / 6.0
    )
