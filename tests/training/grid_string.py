"""A second model of a string over frets: finite differences and a lossy one-sided spring.

What is learnt from one model of contact alone learns the model. This one shares neck, player
and recording chain with `buzzscan.simulate`, and neither the string nor the contact: an explicit
scheme on a grid for the stiff string with frequency-dependent loss (Bilbao, Numerical Sound
Synthesis, 2009, ch. 7), and the contact law of Hunt & Crossley (J. Appl. Mech. 42, 1975),
F = K·p^α·(1 + λ·v), whose stiffness, exponent and damping are drawn anew for every guitar.

Conventions
-----------
SI units, displacement positive away from the frets, fret forces per mass of one grid point.

Limits
------
Two directions that do not turn; only the one into the neck strikes. A string that lies on a
higher fret is started there, and has no free twin to be compared with.
"""

# ruff: noqa: PLR0917 - a compiled function: more calls would cost its speed

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
import numpy.typing as npt
from training.settled import finished, lifted_line, plucked_line, sounding_fret

from buzzscan.simulate import SimGuitar
from buzzscan.simulate.modes import Modes, string_modes
from buzzscan.simulate.note import NoteSound
from buzzscan.simulate.performance import Event
from buzzscan.simulate.plucking import Setting, set_note

__all__ = ["ContactLaw", "grid_note"]

Array = npt.NDArray[np.float64]

LOWEST_STEP_HZ = 80_000.0
SPARE = 1.01
"""Grid spacing over the least stable one: leaves room for the stiffness of a fret."""
LOSS_AT_HZ = 4000.0
BRIDGE_SCALE = 1e-2
"""Saddle force to output, as the modal string has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactLaw:
    """How a fret pushes back.

    Parameters
    ----------
    stiffness
        Share of a penetration that one step undoes at `REFERENCE_M`, 0–1.
    exponent
        Of the penetration, 1 for a linear spring.
    damping_s_m
        λ: growth of the force per m/s of approach.
    """

    stiffness: float = 0.3
    exponent: float = 1.2
    damping_s_m: float = 0.2


REFERENCE_M = 5e-6
MOST_UNDONE, MOST_DAMPED = 0.25, 0.12
"""Share of a penetration and of its growth that one step may undo: explicit steps that undo more
can gain energy where two frets share a grid point."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """A string cut into points; coefficients of the scheme."""

    points: int
    spacing_m: float
    step_s: float
    wave: float
    stiff: float
    loss: float
    loss_high: float

    @property
    def sigma(self) -> float:
        """Decay rate of the first partial in 1/s."""
        high = self.loss_high * (np.pi / self.points) ** 2 / 2.0
        return float(self.loss + high) / self.step_s


def grid_note(
    guitar: SimGuitar,
    event: Event,
    *,
    law: ContactLaw,
    weight_kind: str,
    pickup_mm: float,
    horizontal: float,
    sample_rate_hz: int,
    duration_s: float,
    rng: np.random.Generator,
) -> NoteSound:
    """Return the sound of one note; parameters as of `buzzscan.simulate.note.sound_note`."""
    up = int(np.ceil(LOWEST_STEP_HZ / sample_rate_hz))
    step_s = 1.0 / (sample_rate_hz * up)
    steps = int(duration_s / step_s)
    setting = set_note(guitar, event)
    modes = string_modes(
        guitar, event.string, pressed=event.fret, stop=setting.stop, end_loss=event.end_loss
    )
    grid = _grid(modes, step_s)
    detuned = _grid(modes, step_s, cents=float(rng.normal(0.0, guitar.detune_cents)))
    shape = plucked_line(grid.points, modes.length_m, setting, event)
    away = shape * setting.pluck.away_mm / 1e3
    lift = lifted_line(grid.points, modes.length_m, setting)
    heard = _Ear(kind=weight_kind, at_m=pickup_mm / 1e3, tension_n=modes.tension_n)
    struck, pressed = _run(grid, away + lift, (setting, law), heard, steps)
    free = struck
    if pressed.any() and setting.lift_mm == 0.0:
        free, _ = _run(grid, away, None, heard, steps)
    along, _ = _run(
        detuned,
        plucked_line(detuned.points, modes.length_m, setting, event) * setting.pluck.along_mm / 1e3,
        None,
        heard,
        steps,
    )
    return finished(
        setting,
        modes,
        signals=(struck + horizontal * along, free + horizontal * along),
        pressed=pressed,
        up=up,
        step_s=step_s,
        sounding_fret=sounding_fret(setting, pressed, step_s),
        sigma=grid.sigma,
    )


def _grid(modes: Modes, step_s: float, *, cents: float = 0.0) -> _Grid:
    """Return the finest stable grid of a string with these modes."""
    f0 = modes.f_hz[0] / np.sqrt(1.0 + modes.inharmonicity) * 2.0 ** (cents / 1200.0)
    speed = 2.0 * modes.length_m * f0
    bend = np.sqrt(modes.inharmonicity) * speed * modes.length_m / np.pi
    # loss s0 + s1·β² through that of the first partials and that near `LOSS_AT_HZ`
    low = float(np.median(modes.sigma[:4]))
    high = int(np.argmin(np.abs(modes.f_hz - LOSS_AT_HZ)))
    beta = modes.n[high] * np.pi / modes.length_m
    s1 = max(float(modes.sigma[high]) - low, 0.0) / beta**2
    a = (speed * step_s) ** 2 + 4.0 * s1 * step_s
    least = np.sqrt(0.5 * (a + np.sqrt(a**2 + 16.0 * (bend * step_s) ** 2)))
    points = int(modes.length_m / (least * SPARE))
    h = modes.length_m / points
    return _Grid(
        points=points,
        spacing_m=h,
        step_s=step_s,
        wave=(speed * step_s / h) ** 2,
        stiff=(bend * step_s / h**2) ** 2,
        loss=low * step_s,
        loss_high=2.0 * s1 * step_s / h**2,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ear:
    kind: str
    at_m: float
    tension_n: float


def _run(
    grid: _Grid,
    start: Array,
    over: tuple[Setting, ContactLaw] | None,
    ear: _Ear,
    steps: int,
) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return what is heard, and per fret and step whether it is touched."""
    length = grid.points * grid.spacing_m
    at = (length - min(ear.at_m, 0.6 * length)) / grid.spacing_m
    places, room, law = np.zeros(0), np.zeros(0), ContactLaw()
    if over is not None:
        setting, law = over
        places = setting.places_mm / 1e3 / grid.spacing_m
        inside = places < grid.points - 1
        places, room = np.where(inside, places, 1.0), np.where(inside, setting.room_mm / 1e3, 1.0)
    out, pressed = _strike(
        start,
        np.array([grid.wave, grid.stiff, grid.loss, grid.loss_high]),
        places,
        room,
        np.array([law.stiffness, law.exponent, law.damping_s_m / grid.step_s]),
        at if ear.kind == "pickup" else -1.0,
        steps,
    )
    if ear.kind == "pickup":
        return out / grid.step_s, pressed
    return out * (ear.tension_n / grid.spacing_m * BRIDGE_SCALE), pressed


@numba.njit(cache=True, nogil=True)
def _strike(
    start: Any, scheme: Any, places: Any, room: Any, law: Any, at: float, steps: int
) -> Any:
    """Step the scheme from rest; `at` < 0 hears the slope at the saddle."""
    n = start.size - 1
    u, before, after, push = start.copy(), start.copy(), np.zeros(n + 1), np.zeros(n + 1)
    wave, stiff, loss, loss_high = scheme
    out, pressed = np.zeros(steps), np.zeros((places.size, steps), np.bool_)
    i_at = int(max(at, 0.0))
    part = at - i_at
    for step in range(steps):
        push[:] = 0.0
        for j in range(places.size):
            i = int(places[j])
            f = places[j] - i
            deep = -room[j] - ((1.0 - f) * u[i] + f * u[i + 1])
            if deep <= 0.0:
                continue
            pressed[j, step] = True
            was = -room[j] - ((1.0 - f) * before[i] + f * before[i + 1])
            spring = law[0] * deep * (deep / REFERENCE_M) ** (law[1] - 1.0)
            force = min(spring, MOST_UNDONE * deep) + min(spring * law[2], MOST_DAMPED) * (
                deep - was
            )
            force = min(max(force, 0.0), MOST_UNDONE * deep)
            push[i] += (1.0 - f) * force
            push[i + 1] += f * force
        for i in range(1, n):
            far_low = -u[1] if i == 1 else u[i - 2]
            far_high = -u[n - 1] if i == n - 1 else u[i + 2]
            bend = far_high - 4.0 * u[i + 1] + 6.0 * u[i] - 4.0 * u[i - 1] + far_low
            curve = u[i + 1] - 2.0 * u[i] + u[i - 1]
            curve_before = before[i + 1] - 2.0 * before[i] + before[i - 1]
            after[i] = (
                2.0 * u[i]
                - (1.0 - loss) * before[i]
                + wave * curve
                - stiff * bend
                + loss_high * (curve - curve_before)
                + push[i]
            ) / (1.0 + loss)
        before, u, after = u, after, before
        if at < 0.0:
            out[step] = u[n] - u[n - 1]
        else:
            now = (1.0 - part) * u[i_at] + part * u[i_at + 1]
            out[step] = now - (1.0 - part) * before[i_at] - part * before[i_at + 1]
    return out, pressed
