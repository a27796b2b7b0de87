"""A third model of a string over frets: travelling waves that a fret cuts off.

What is learnt from springs may be what springs do. Left out of a fit, this model shows how far what
was learnt holds; a few of the takes that contact and attacks are learnt from are of it. Two waves
run along the string and are turned round at its ends (Smith, Computer Music Journal 16(4), 1992);
loss and stiffness are filters at the saddle (Jaffe & Smith, Computer Music Journal 7(2), 1983), and
a fret is no spring: displacement that would pass it is given back to both waves at once (Rank &
Kubin, "A waveguide model for slapbass synthesis", IEEE ICASSP 1997).

Conventions
-----------
SI units, displacement positive away from the frets. Index 0 of a wave is the stop.

Limits
------
Two directions that do not turn; only the one into the neck strikes. Frets lie on the nearest
sample of the string. Stiffness is right to some cents for the lower partials only. A string that
lies on a higher fret is one stopped there.
"""

# ruff: noqa: PLR0917 - a compiled function: more calls would cost its speed

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
import numpy.typing as npt
from training.settled import finished, plucked_line

from buzzscan.simulate import SimGuitar
from buzzscan.simulate.modes import Modes, string_modes
from buzzscan.simulate.note import NoteSound
from buzzscan.simulate.performance import Event
from buzzscan.simulate.plucking import Setting, set_note

__all__ = ["Fret", "waveguide_note"]

Array = npt.NDArray[np.float64]

LOWEST_STEP_HZ = 160_000.0
STIFF_UP_TO_HZ = 6000.0
LOSS_AT_HZ = 4000.0
ALLPASSES = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128)
"""How many are tried: a thick low string needs most."""
MOST_HIDDEN = 0.2
LEAST_KEPT = 0.05
"""Share that a period leaves at `LOSS_AT_HZ`; a low-pass that left less would end the lows too."""
LEAST_POINTS = 8
OUT_SCALE = 2.0
"""Brings the saddle's output to the level of the other models'."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fret:
    """How a fret turns the string back.

    Parameters
    ----------
    bounce
        Displacement given back beyond the crown, over what had passed it: 1 turns both waves
        round whole, as a rigid fret does, 0 lets half of each through.
    half_width
        Samples of the string on either side that are held off as well.
    """

    bounce: float = 0.8
    half_width: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Guide:
    """Two waves of `points` samples, and the filters at the saddle."""

    points: int
    step_hz: float
    length_m: float
    gain: float
    smooth: float
    allpass: float
    n_allpasses: int
    fraction: float

    @property
    def filters(self) -> Array:
        """Gain, coefficients of the low-pass, the all-passes and the fractional delay."""
        return np.array([self.gain, self.smooth, self.allpass, self.fraction])

    def sigma(self, f_hz: float) -> float:
        """Return the decay rate of the first partial, at `f_hz`, in 1/s."""
        p, turn = self.smooth, 2.0 * np.pi * f_hz / self.step_hz
        smoothed = (1.0 - p) / np.sqrt(1.0 - 2.0 * p * np.cos(turn) + p * p)
        return float(-np.log(self.gain * smoothed) * f_hz)


def waveguide_note(
    guitar: SimGuitar,
    event: Event,
    *,
    fret: Fret,
    weight_kind: str,
    pickup_mm: float,
    horizontal: float,
    sample_rate_hz: int,
    duration_s: float,
    rng: np.random.Generator,
) -> NoteSound:
    """Return the sound of one note; parameters as of `buzzscan.simulate.note.sound_note`."""
    up = int(np.ceil(LOWEST_STEP_HZ / sample_rate_hz))
    step_hz = float(sample_rate_hz * up)
    steps = int(duration_s * step_hz)
    setting = set_note(guitar, event)
    lies = setting.lift_mm > 0.0
    stop = setting.rests_on if lies else setting.stop
    modes = string_modes(
        guitar, event.string, pressed=event.fret, stop=stop, end_loss=event.end_loss
    )
    cents = float(rng.normal(0.0, guitar.detune_cents))
    guide, detuned = (_guide(modes, step_hz, cents=c) for c in (0.0, cents))
    away = _plucked(guide, setting, event, setting.pluck.away_mm)
    along = _plucked(detuned, setting, event, setting.pluck.along_mm)
    heard = -1.0 if weight_kind == "bridge" else pickup_mm / 1e3
    struck, pressed = _run(guide, away, None if lies else (setting, fret), heard, steps)
    free = _run(guide, away, None, heard, steps)[0] if pressed.any() else struck
    beside, _ = _run(detuned, along, None, heard, steps)
    return finished(
        setting,
        modes,
        signals=(struck + horizontal * beside, free + horizontal * beside),
        pressed=pressed,
        up=up,
        step_s=1.0 / step_hz,
        sounding_fret=stop,
        sigma=guide.sigma(float(modes.f_hz[0])),
    )


def _guide(modes: Modes, step_hz: float, *, cents: float) -> _Guide:
    """Return the guide whose partials and losses are those of a string with these modes."""
    turn = 2.0 ** (cents / 1200.0)
    low = float(np.median(modes.sigma[:4]))
    gain = float(np.exp(-low / modes.f_hz[0]))
    high = int(np.argmin(np.abs(modes.f_hz - LOSS_AT_HZ)))
    more = float(np.exp(-max(float(modes.sigma[high]) - low, 0.0) / modes.f_hz[0]))
    more = max(more, LEAST_KEPT)
    smooth = _smoothing(more, 2.0 * np.pi * float(modes.f_hz[high]) / step_hz)
    heard = modes.f_hz < min(STIFF_UP_TO_HZ, 0.2 * step_hz)
    n, f = modes.n[heard], modes.f_hz[heard] * turn
    allpass, n_allpasses = _dispersion(n * step_hz / f, 2.0 * np.pi * f / step_hz, smooth)
    first = 2.0 * np.pi * float(f[0]) / step_hz
    filters = n_allpasses * _allpass_delay(allpass, first) + _smoothing_delay(smooth, first)
    left = step_hz / float(f[0]) - float(filters)
    points = int((left - 0.4) // 2)
    if points < LEAST_POINTS:
        raise ValueError(f"{points} points: too short a string at {step_hz:.0f} Hz")
    rest = left - 2 * points
    return _Guide(
        points=points,
        step_hz=step_hz,
        length_m=modes.length_m,
        gain=gain,
        smooth=smooth,
        allpass=allpass,
        n_allpasses=n_allpasses,
        fraction=(1.0 - rest) / (1.0 + rest),
    )


def _smoothing(gain: float, turn: float) -> float:
    """Return the pole of (1 − p)/(1 − p/z) whose gain at `turn` radians per sample is `gain`."""
    if gain >= 1.0:
        return 0.0
    # gain²·(1 − 2p·cos + p²) = (1 − p)² is p² − 2ap + 1 = 0
    a = 1.0 + (1.0 - np.cos(turn)) * gain**2 / (1.0 - gain**2)
    return float(a - np.sqrt(a * a - 1.0))


def _smoothing_delay(pole: float, turn: Any) -> Any:
    return np.arctan2(pole * np.sin(turn), 1.0 - pole * np.cos(turn)) / turn


def _allpass_delay(a: float, turn: Any) -> Any:
    """Return the phase delay in samples of (a + 1/z)/(1 + a/z)."""
    return 1.0 - 2.0 * np.arctan2(a * np.sin(turn), 1.0 + a * np.cos(turn)) / turn


def _dispersion(loop: Array, turn: Array, smooth: float) -> tuple[float, int]:
    """Return the all-passes that make the loop as short at each partial as stiffness does.

    `loop` is the delay in samples at which each partial comes back in phase, `turn` its
    frequency in radians per sample. What the filters hold back is not on the string: at most
    `MOST_HIDDEN` of the loop may be.
    """
    wanted = loop[0] - loop + (_smoothing_delay(smooth, turn) - _smoothing_delay(smooth, turn[0]))
    best, found = np.inf, (0.0, 0)
    for count in ALLPASSES:
        for met in range(3, len(loop), 4):
            low, high = -0.97, 0.0
            for _ in range(20):
                a = 0.5 * (low + high)
                delays = count * (_allpass_delay(a, turn[0]) - _allpass_delay(a, turn))
                low, high = (a, high) if delays[met] > wanted[met] else (low, a)
            if count * _allpass_delay(a, turn[0]) > MOST_HIDDEN * loop[0]:
                continue
            # the lower a partial, the more of the sound is in it
            miss = float(np.sum(((delays - wanted) / loop / np.arange(1, len(loop) + 1)) ** 2))
            if miss < best:
                best, found = miss, (a, count)
    return found


def _plucked(guide: _Guide, setting: Setting, event: Event, size_mm: float) -> Array:
    """Return the line of the plucked string, shape (points,)."""
    line = plucked_line(guide.points, guide.length_m, setting, event)
    return line[:-1] * size_mm / 1e3


def _run(
    guide: _Guide, start: Array, over: tuple[Setting, Fret] | None, heard_m: float, steps: int
) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return what is heard, and per fret and step whether it is touched.

    `heard_m` is where from the saddle; below 0 the saddle itself.
    """
    per_m = guide.points / guide.length_m
    places, room, fret = np.zeros(0, np.intp), np.zeros(0), Fret()
    if over is not None:
        setting, fret = over
        places = np.round(setting.places_mm / 1e3 * per_m).astype(np.intp)
        places = np.clip(places, 1, guide.points - 2)
        room = setting.room_mm / 1e3
    at = -1
    if heard_m >= 0.0:
        at = int((guide.length_m - min(heard_m, 0.6 * guide.length_m)) * per_m)
    out, pressed = _travel(
        start,
        guide.filters,
        guide.n_allpasses,
        places,
        room,
        0.5 * (1.0 + fret.bounce),
        fret.half_width,
        at,
        steps,
    )
    return out * (guide.step_hz if at >= 0 else OUT_SCALE * per_m), pressed


@numba.njit(cache=True, nogil=True)
def _travel(
    start: Any,
    filters: Any,
    n_allpasses: int,
    places: Any,
    room: Any,
    back: float,
    half_width: int,
    at: int,
    steps: int,
) -> Any:
    """Let the waves run; `at` < 0 hears the slope at the saddle, else the velocity there.

    The waves stand still in memory and their first samples move: `out` runs to the saddle,
    `home` to the stop.
    """
    n = start.size
    gain, smooth, allpass, fraction = filters
    out, home = 0.5 * start, 0.5 * start
    first_out = first_home = 0
    heard, pressed = np.zeros(steps), np.zeros((places.size, steps), np.bool_)
    was_in, was_out = np.zeros(n_allpasses), np.zeros(n_allpasses)
    smoothed = late_in = late_out = before = 0.0
    for step in range(steps):
        arrived = out[(first_out + n - 1) % n]
        left = home[first_home]
        first_out = (first_out - 1) % n
        first_home = (first_home + 1) % n
        smoothed = (1.0 - smooth) * arrived + smooth * smoothed
        value = -gain * smoothed
        for k in range(n_allpasses):
            new = allpass * value + was_in[k] - allpass * was_out[k]
            was_in[k], was_out[k] = value, new
            value = new
        new = fraction * value + late_in - fraction * late_out
        late_in, late_out = value, new
        home[(first_home + n - 1) % n] = new
        out[first_out] = -left
        for j in range(places.size):
            for place in range(places[j] - half_width, places[j] + half_width + 1):
                if place < 1 or place >= n - 1:
                    continue
                i, k = (first_out + place) % n, (first_home + place) % n
                deep = -room[j] - (out[i] + home[k])
                if deep > 0.0:
                    pressed[j, step] = True
                    out[i] += back * deep
                    home[k] += back * deep
        if at < 0:
            heard[step] = arrived - new
        else:
            now = out[(first_out + at) % n] + home[(first_home + at) % n]
            heard[step] = now - before if step else 0.0
            before = now
    return heard, pressed
