"""How a pick meets one string over one neck: where it stops, what lies ahead, how far it swings.

Conventions
-----------
Millimetres, measured from the stop unless said otherwise; heights positive away from the neck.

Limits
------
A pick that pushes the string towards the neck is taken to stop short of pressing it onto a fret.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.simulate.geometry import StringLine
from buzzscan.simulate.instrument import SimGuitar
from buzzscan.simulate.performance import Event

__all__ = ["Pluck", "Setting", "envelope_mm", "set_note"]

Array = npt.NDArray[np.float64]

REACH_FACTOR = 1.6
"""Frets whose room exceeds this multiple of the pluck's envelope cannot be reached."""
REACH_MARGIN_MM = 0.02
PLUCK_LEAST_MM = 15.0
PLUCK_MOST_SHARE = 0.6
LEAST_ANGLE_DEG, MOST_ANGLE_DEG = 5.0, 85.0
SURELY_HELD = 2.0
"""Times the greatest pull at which a resting string surely stays: stiffness sends sharper bends
ahead of the corner than the triangle has. Below, it is simulated over the fret it lies on."""
MOST_PLUCK_MM = 8.0
"""However slack a string is, a pick lets go of it there (common practice, no source)."""
SHORT_OF_FRETS = 0.8
"""How much of the room a pick that pushes towards the neck may use up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pluck:
    """One pluck.

    Parameters
    ----------
    away_mm, along_mm
        Displacement at the pick, away from the neck (negative: towards it) and along the frets.
    from_saddle_mm
        Place of the pick.
    """

    away_mm: float
    along_mm: float
    from_saddle_mm: float

    @property
    def size_mm(self) -> float:
        """Displacement at the pick, whatever its direction."""
        return float(np.hypot(self.away_mm, self.along_mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One note before it sounds.

    Parameters
    ----------
    stop
        Fret the string leaves the neck from.
    rests_on, lift_mm
        Fret ahead that it lies on and may leave while it vibrates, and how far it is lifted
        there; `stop` and 0 when it lies on none.
    frets, places_mm, room_mm
        Frets ahead that it could strike, their places from the stop, and the room over each.
    pluck
        How it is plucked.
    """

    stop: int
    rests_on: int
    lift_mm: float
    frets: npt.NDArray[np.intp]
    places_mm: Array
    room_mm: Array
    pluck: Pluck


def envelope_mm(x_mm: Array, *, length_mm: float, pluck_mm: float, amplitude_mm: float) -> Array:
    """Return the farthest the plucked string swings at each place, same shape as `x_mm`.

    A triangular pluck runs around a parallelogram; the far side mirrors the near side about
    the middle of the string. `x_mm` and `pluck_mm` are distances from the stop and the saddle.
    """
    return _triangle(length_mm - x_mm, length_mm, length_mm - pluck_mm) * amplitude_mm


def _triangle(x_mm: Array, length_mm: float, tip_mm: float) -> Array:
    """Return a triangle of height 1 over a string, at places x."""
    return np.asarray(
        np.where(x_mm <= tip_mm, x_mm / tip_mm, (length_mm - x_mm) / (length_mm - tip_mm))
    )


def set_note(guitar: SimGuitar, event: Event) -> Setting:
    """Return where a note leaves the neck and what it could strike.

    A string that lies on a fret ahead is held there by T times the bend of its line; the
    vibrating part pulls it up with at most T times its slope at that end. While the first is
    surely larger, the string never leaves that fret and simply sounds it.
    """
    line = guitar.line(event.string)
    stop = event.fret
    rests_on, lift = line.sounding_fret(stop)
    pluck = _pluck(guitar, event, stop=rests_on)
    if rests_on != stop:
        length = guitar.length_mm(event.string, rests_on)
        tip = length - pluck.from_saddle_mm
        pull = pluck.away_mm / tip if pluck.away_mm > 0 else -pluck.away_mm / pluck.from_saddle_mm
        if line.resting_slope(stop) > SURELY_HELD * pull:
            stop, lift = rests_on, 0.0
    if lift > 0.0:
        pluck = _pluck(guitar, event, stop=stop)
    return _with_obstacles(
        guitar, event, line, stop=stop, rests_on=rests_on, lift=lift, pluck=pluck
    )


def _with_obstacles(
    guitar: SimGuitar,
    event: Event,
    line: StringLine,
    *,
    stop: int,
    rests_on: int,
    lift: float,
    pluck: Pluck,
) -> Setting:
    frets, room = line.clearances(stop)
    places = np.asarray(line.x_mm)[frets] - line.x_mm[stop]
    length = guitar.length_mm(event.string, stop)
    swing = envelope_mm(
        places,
        length_mm=length,
        pluck_mm=pluck.from_saddle_mm,
        # turned axes bring what is along the frets into the neck
        amplitude_mm=abs(pluck.away_mm)
        + abs(pluck.along_mm * np.sin(2.0 * np.deg2rad(guitar.axes_deg))),
    )
    near = room <= REACH_FACTOR * swing + REACH_MARGIN_MM
    return Setting(
        stop=stop,
        rests_on=rests_on if lift > 0.0 else stop,
        lift_mm=lift,
        frets=frets[near],
        places_mm=places[near],
        room_mm=room[near],
        pluck=pluck,
    )


def _pluck(guitar: SimGuitar, event: Event, *, stop: int) -> Pluck:
    """Return the pluck in mm; the same force moves a slacker string farther."""
    tension = guitar.strings[-event.string].tension_n
    size = min(event.amplitude_mm * guitar.strings[0].tension_n / tension, MOST_PLUCK_MM)
    angle = np.deg2rad(np.clip(abs(event.angle_deg), LEAST_ANGLE_DEG, MOST_ANGLE_DEG))
    length = guitar.length_mm(event.string, stop)
    place = float(np.clip(event.pluck_mm, PLUCK_LEAST_MM, PLUCK_MOST_SHARE * length))
    away = size * float(np.sin(angle))
    if event.angle_deg < 0.0:
        line = guitar.line(event.string)
        frets, room = line.clearances(stop)
        places = np.asarray(line.x_mm)[frets] - line.x_mm[stop]
        shape = _triangle(places, length, length - place)
        limit = np.min(room[room > 0.0] / shape[room > 0.0], initial=np.inf)
        away = -min(away, SHORT_OF_FRETS * float(limit))
    return Pluck(away_mm=away, along_mm=size * float(np.cos(angle)), from_saddle_mm=place)
