"""What other string models share: the line a string starts from, and what its frets tell.

Conventions
-----------
SI units; lines have points + 1 values from the stop to the saddle.

Limits
------
The pick's release in time is left out: its width alone rounds the tip.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from buzzscan.simulate.modes import Modes
from buzzscan.simulate.note import ATTACK_S, JUDGED_UNTIL_S, MIN_STRIKES, NoteSound
from buzzscan.simulate.performance import Event
from buzzscan.simulate.plucking import Setting

__all__ = ["finished", "lifted_line", "plucked_line", "sounding_fret"]

Array = npt.NDArray[np.float64]


def plucked_line(points: int, length_m: float, setting: Setting, event: Event) -> Array:
    """Return a triangle of height 1 with a rounded tip, shape (points + 1,)."""
    spacing_m = length_m / points
    x = np.arange(points + 1) * spacing_m
    tip = length_m - min(setting.pluck.from_saddle_mm / 1e3, 0.6 * length_m)
    sharp = np.where(x <= tip, x / tip, (length_m - x) / (length_m - tip))
    half = max(round(event.pick_width_mm / 1e3 / spacing_m), 1)
    window = np.hanning(2 * half + 3)
    odd = np.concatenate([-sharp[half + 1 : 0 : -1], sharp, -sharp[-2 : -half - 3 : -1]])
    return np.asarray(np.convolve(odd, window / window.sum(), "valid"))


def lifted_line(points: int, length_m: float, setting: Setting) -> Array:
    """Return the resting line of a string that lies on a fret ahead, shape (points + 1,)."""
    x = np.linspace(0.0, length_m, points + 1)
    if setting.lift_mm == 0.0:
        return np.zeros_like(x)
    at = float(setting.places_mm[setting.frets == setting.rests_on][0]) / 1e3
    return np.asarray(np.interp(x, [0.0, at, x[-1]], [0.0, setting.lift_mm / 1e3, 0.0]))


def finished(
    setting: Setting,
    modes: Modes,
    *,
    signals: tuple[Array, Array],
    pressed: npt.NDArray[np.bool_],
    up: int,
    step_s: float,
    sounding_fret: int,
    sigma: float,
) -> NoteSound:
    """Return the note from what was heard with and without frets, and what they were touched.

    Parameters
    ----------
    signals
        With and without frets, at `up` times the output's rate.
    pressed
        Per fret and step whether it is touched.
    sounding_fret
        The fret whose note is heard.
    sigma
        Decay rate of the first partial in 1/s.
    """
    from scipy.signal import resample_poly

    late = pressed[:, int(ATTACK_S / step_s) :]
    strikes = int(np.count_nonzero(np.diff(late.any(axis=0).astype(np.int8)) == 1))
    touched = np.flatnonzero(pressed.any(axis=0))
    struck, free = (np.asarray(resample_poly(signal, 1, up)) for signal in signals)
    return NoteSound(
        signal=struck,
        free=free,
        pitch_hz=float(modes.f_hz[0]),
        inharmonicity=modes.inharmonicity,
        decay_db_per_s=20.0 / float(np.log(10.0)) * sigma,
        sounding_fret=sounding_fret,
        strikes=strikes,
        contact_until_s=float(touched[-1] * step_s) if touched.size else 0.0,
        contact=strikes >= MIN_STRIKES,
        struck_frets=tuple(setting.frets[np.flatnonzero(late.any(axis=1))].tolist()),
        impulse_ns=0.0,
    )


def sounding_fret(setting: Setting, pressed: npt.NDArray[np.bool_], step_s: float) -> int:
    """Return the fret whose note is heard: one that the string lies on most of the time."""
    if setting.lift_mm == 0.0:
        return setting.stop
    window = slice(int(ATTACK_S / step_s), int(JUDGED_UNTIL_S / step_s))
    lies = pressed[setting.frets == setting.rests_on, window]
    return setting.rests_on if lies.size and lies.mean() > 0.5 else setting.stop
