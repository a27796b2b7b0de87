"""Open strings that nobody mutes and that ring along with the one that is played.

Conventions
-----------
A linear filter: each partial of each open string is a resonance that the played sound drives
through the bridge.

Limits
------
Every open string rings all the time, also the one that is being played; strings do not pass
what they hear back.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from buzzscan.simulate.instrument import SimGuitar
from buzzscan.simulate.modes import string_modes

__all__ = ["ringing_along"]

Array = npt.NDArray[np.float64]

PARTIALS = 8
"""Partials of each string that ring along; higher ones die at once."""


def ringing_along(signal: Array, guitar: SimGuitar, *, share: float, sample_rate_hz: int) -> Array:
    """Return what the open strings add to a signal, same shape.

    Parameters
    ----------
    signal
        The played strings, shape (n,).
    guitar
        Its open strings ring along.
    share
        Level of a partial after it has been driven for long at its own frequency, over what
        drives it, 0–1.
    sample_rate_hz
        Of the signal.
    """
    from scipy.signal import sosfilt

    out = np.zeros_like(signal)
    if share <= 0.0:
        return out
    for string in guitar.guitar.strings:
        modes = string_modes(guitar, string, pressed=0, stop=0)
        for f, sigma in zip(modes.f_hz[:PARTIALS], modes.sigma[:PARTIALS], strict=False):
            turn = 2.0 * np.pi * f / sample_rate_hz
            r = np.exp(-sigma / sample_rate_hz)
            # zeros at 0 Hz and at half the rate: the resonance has gain 1 at its peak
            sos = np.array([[1 - r, 0, r - 1, 1, -2 * r * np.cos(turn), r * r]])
            out += share * sosfilt(sos, signal)
    return out
