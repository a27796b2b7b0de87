"""The moment at which the pick lets go, found on the waveform.

Conventions
-----------
Positions are samples into the block of samples that is passed.

Limits
------
Good to a few milliseconds; a swell without an attack is put where it rises fastest.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from buzzscan.recording import Samples

__all__ = ["cut_out", "refine"]

FloatArray = npt.NDArray[np.float32]

_STEP_S = 0.001
_BEFORE_S, _AFTER_S = 0.050, 0.035
"""Search range around the frame of the jump: the frame's own length."""
_CALM_S = 0.018
"""Stretch before the attack whose loudest millisecond is the level to rise from: more than a
period of E2, so that the ringing of the note before is not a rise."""
_PEAK_S = 0.006
_SMOOTHING_S = (0.0, 0.0001, 0.0003, 0.0008)
"""Running means before the second difference: together they look at the edge around 10, 4, 1.5
and 0.6 kHz, and the one in which it stands out best over noise and ringing counts."""
_SHARE = 0.4
"""Share of the rise in dB at which the string counts as let go: the pick's own touch before it
stays some 20 dB under the attack, which rises by 30 and more."""


def refine(
    samples: Samples, sample_rate_hz: int, centres: npt.NDArray[np.intp]
) -> tuple[npt.NDArray[np.intp], FloatArray]:
    """Return the sample at which each attack rises, and by how many dB.

    Parameters
    ----------
    samples
        Block of samples.
    sample_rate_hz
        Its rate in Hz.
    centres
        Rough positions in samples, up to the length of a frame late.
    """
    if not len(centres):
        return centres, np.zeros(0, np.float32)
    step = max(round(_STEP_S * sample_rate_hz), 1)
    n_calm, n_peak = round(_CALM_S / _STEP_S), round(_PEAK_S / _STEP_S)
    n_steps = round((_BEFORE_S + _AFTER_S) / _STEP_S) + n_calm + n_peak
    first = centres - (round(_BEFORE_S / _STEP_S) + n_calm) * step
    pieces = cut_out(samples, first, n_steps * step + 2)
    best_gain = np.full(len(centres), -np.inf, np.float32)
    best_at = np.zeros(len(centres), np.intp)
    for smoothing_s in _SMOOTHING_S:
        level = _edge_levels(pieces, step, round(smoothing_s * sample_rate_hz))
        gain, at = _largest_step(level, n_calm, n_peak)
        better = gain > best_gain
        best_gain[better], best_at[better] = gain[better], at[better]
    return first + best_at * step, best_gain


def _edge_levels(pieces: FloatArray, step: int, smoothing: int) -> FloatArray:
    smooth = uniform_filter1d(pieces, smoothing, axis=1) if smoothing > 1 else pieces
    edge = np.diff(smooth, n=2, axis=1)
    power = (edge * edge).reshape(len(edge), -1, step).mean(axis=2)
    return np.asarray(10.0 * np.log10(power + 1e-14), np.float32)


def _largest_step(
    level: FloatArray, n_calm: int, n_peak: int
) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """Return the largest rise over the calm before, and the step at which it is passed."""
    n = level.shape[1]
    ahead = maximum_filter1d(level, n_peak, axis=1, origin=-(n_peak // 2))
    calm = maximum_filter1d(level, n_calm, axis=1, origin=(n_calm - 1) // 2)
    gain = ahead[:, n_calm : n - n_peak] - calm[:, n_calm - 1 : n - n_peak - 1]
    top = np.argmax(gain, axis=1) + n_calm
    rows = np.arange(len(level))
    high, low = ahead[rows, top], calm[rows, top - 1]
    bar = low + _SHARE * (high - low)
    near = np.clip(top[:, None] + np.arange(n_peak), 0, n - 1)
    at = top + np.argmax(level[rows[:, None], near] > bar[:, None], axis=1)
    return high - low, at


def cut_out(samples: Samples, starts: npt.NDArray[np.intp], length: int) -> FloatArray:
    """Return pieces of equal length, shape (pieces, length), zeros beyond the block."""
    at = starts[:, None] + np.arange(length)
    inside = (at >= 0) & (at < len(samples))
    pieces = np.where(inside, samples[np.clip(at, 0, len(samples) - 1)], 0.0)
    return np.asarray(pieces, np.float32)
