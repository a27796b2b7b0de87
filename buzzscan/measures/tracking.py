"""One partial over time: its amplitude and phase.

Conventions
-----------
Times are seconds after the onset. Amplitude 1 is a full-scale sine.

Limits
------
Three periods are the shortest window, so that a low note's first 30 to 60 ms blur.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

__all__ = ["HOPS", "Track", "track_partial"]

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

_PERIODS = 3
"""Shortest window in periods: a Hann window of whole periods, three at least, has a null on
every other partial and on zero frequency."""
_WINDOW_OF_SPAN = 0.15
_LONGEST_WINDOW_S = 0.08
_SHORTEST_WINDOW_S = 0.02
HOPS = 4
"""Hops to a window: a Hann window loses nothing at a quarter of its length."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One partial over time.

    Parameters
    ----------
    times_s
        Middles of the windows.
    values
        Amplitude and phase against `frequency_hz`; amplitude 1 is a full-scale sine.
    frequency_hz
        Of the demodulation.
    noise
        Mean square that the noise leaves in `values`.
    window_s
        Length of each window.
    """

    times_s: FloatArray
    values: ComplexArray
    frequency_hz: float
    noise: float
    window_s: float

    @property
    def hop_s(self) -> float:
        """Time from each window to the next."""
        return float(self.times_s[1] - self.times_s[0])

    @property
    def powers(self) -> FloatArray:
        """Squared amplitudes."""
        return np.asarray(self.values.real**2 + self.values.imag**2)


def track_partial(
    samples: npt.NDArray[np.floating],
    *,
    sample_rate_hz: float,
    frequency_hz: float,
    start_s: float,
    stop_s: float,
    noise_db_per_hz: float,
) -> Track | None:
    """Return a partial's amplitude and phase over time, or None if the stretch is too short.

    Parameters
    ----------
    samples
        Mono, shape (n,), from the onset on.
    sample_rate_hz
        Rate of `samples`.
    frequency_hz
        Frequency of the partial.
    start_s, stop_s
        Middle of the first window, and end of the last one.
    noise_db_per_hz
        Noise beside the partial in a band of 1 Hz, dB re a full-scale sine.
    """
    span = stop_s - start_s
    window_s = min(max(_WINDOW_OF_SPAN * span, _SHORTEST_WINDOW_S), _LONGEST_WINDOW_S)
    periods = max(round(window_s * frequency_hz), _PERIODS)
    length = round(periods / frequency_hz * sample_rate_hz)
    hop = max(length // HOPS, 1)
    first = max(round(start_s * sample_rate_hz) - length // 2, 0)
    last = min(round(stop_s * sample_rate_hz), len(samples))
    n_frames = (last - first - length) // hop + 1
    if n_frames < 3:
        return None
    piece = np.ascontiguousarray(samples[first : first + (n_frames - 1) * hop + length], np.float32)
    # Copied out, as overlapping rows keep the product from the fast matrix routine.
    frames = np.ascontiguousarray(np.lib.stride_tricks.sliding_window_view(piece, length)[::hop])
    m, window = np.arange(length), _window(length)
    turn = 2.0 * np.pi * frequency_hz / sample_rate_hz
    kernel = np.stack([window * np.cos(turn * m), -window * np.sin(turn * m)], 1)
    parts = (frames @ kernel.astype(np.float32)).astype(np.float64)
    starts = first + hop * np.arange(n_frames)
    values = (parts[:, 0] + 1j * parts[:, 1]) * np.exp(-1j * turn * starts)
    # Equivalent noise bandwidth of a Hann window: 1.5 bins.
    band_hz = 1.5 * sample_rate_hz / length
    return Track(
        times_s=np.asarray((starts + 0.5 * length) / sample_rate_hz, np.float64),
        values=values,
        frequency_hz=frequency_hz,
        noise=10.0 ** (noise_db_per_hz / 10.0) * band_hz,
        window_s=length / sample_rate_hz,
    )


@lru_cache(maxsize=256)
def _window(length: int) -> FloatArray:
    """Return the Hann window that gives a full-scale sine the amplitude 1."""
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(length) + 0.5) / length)
    window *= 2.0 / window.sum()
    window.flags.writeable = False
    return window
