"""Brings high sample rates down, block by block.

Conventions
-----------
Output sample m lies at the time of input sample ``m · factor``: the filter has no delay.

Limits
------
Whole factors only: 96 kHz becomes 48, 88.2 becomes 44.1, 192 becomes 48.

References
----------
Linear-phase low-pass by the Kaiser window; Oppenheim & Schafer, "Discrete-Time Signal
Processing", chapters 4.6 and 7.5.
"""

from __future__ import annotations

import math

import numpy as np

from buzzscan.recording.take import Samples

__all__ = ["HIGHEST_RATE_HZ", "Thinner", "thinning_factor"]

HIGHEST_RATE_HZ = 50_000
"""Nothing above 25 kHz is listened to."""

_STOP_DB = 90.0
_PASS, _STOP = 0.75, 1.25
"""Edges of the filter re half the new rate. What folds back lands above 0.75 of it (16.5 kHz at
44.1 kHz), where no measure of notes looks; a narrower edge would take longer."""


def thinning_factor(rate_hz: int) -> int:
    """Return the whole factor that brings a rate to at most `HIGHEST_RATE_HZ`."""
    return max(math.ceil(rate_hz / HIGHEST_RATE_HZ), 1)


class Thinner:
    """Keeps every n-th sample of what a low-pass lets through.

    Parameters
    ----------
    factor
        How many input samples make one output sample, at least 2.
    n_channels
        Channels of the blocks.
    """

    def __init__(self, factor: int, n_channels: int) -> None:
        from scipy.signal import firwin, kaiserord

        n_taps, beta = kaiserord(_STOP_DB, (_STOP - _PASS) / factor)
        self._half = math.ceil(n_taps / 2 / factor) * factor
        taps = firwin(2 * self._half + 1, 1.0 / factor, window=("kaiser", beta))
        self._taps = taps.astype(np.float32)
        self._factor = factor
        self._kept = np.zeros((self._half, n_channels), np.float32)

    def add(self, block: Samples) -> Samples:
        """Return what can be said now, shape (samples, channels)."""
        from scipy.signal import upfirdn

        data = np.concatenate([self._kept, block])
        n_out = (len(data) - 2 * self._half - 1) // self._factor + 1
        if n_out <= 0:
            self._kept = data
            return data[:0]
        used = data[: (n_out - 1) * self._factor + 2 * self._half + 1]
        full = upfirdn(self._taps, used, down=self._factor, axis=0)
        first = 2 * self._half // self._factor
        self._kept = data[n_out * self._factor :]
        return np.asarray(full[first : first + n_out], np.float32)

    def end(self) -> Samples:
        """Return the rest."""
        return self.add(np.zeros((self._half, self._kept.shape[1]), np.float32))
