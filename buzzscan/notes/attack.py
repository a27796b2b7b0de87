"""The moment at which the pick lets go, found on the waveform.

Conventions
-----------
Positions are samples into the block of samples that is passed.

Limits
------
Good to a few milliseconds; a swell without an attack is put where it rises fastest.

References
----------
What linear prediction from the samples before cannot foresee shows a new excitation even where
the level hardly rises: Bello et al., "A tutorial on onset detection", IEEE Trans. Speech Audio
Process. 13 (2005).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import fft
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from buzzscan.recording import Samples

__all__ = ["cut_out", "refine"]

FloatArray = npt.NDArray[np.float32]
IntArray = npt.NDArray[np.intp]

_STEP_S = 0.001
_REACH_S = (0.050, 0.035)
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
_UNDER_PEAK_DB = 10.0
"""A step that stays this far under a later one is the finger or the pick landing."""

_FORESEE_HZ = 11000.0
"""Rate at which prediction works: the partials up to 5 kHz, and a filter that stays short."""
_ORDER = 40
"""Two taps for each of twenty partials."""
_LEARN_S = 0.055
"""What the prediction learns from: more than four periods of E2, less than a fast note."""


def refine(
    samples: Samples,
    sample_rate_hz: int,
    centres: IntArray,
    *,
    reach_s: tuple[float, float] = _REACH_S,
) -> tuple[IntArray, FloatArray]:
    """Return the sample at which each attack rises, and by how many dB.

    Parameters
    ----------
    samples
        Block of samples.
    sample_rate_hz
        Its rate in Hz.
    centres
        Rough positions in samples.
    reach_s
        How far before and after them to search, in seconds.
    """
    if not len(centres):
        return centres, np.zeros(0, np.float32)
    step = max(round(_STEP_S * sample_rate_hz), 1)
    n_calm, n_peak = round(_CALM_S / _STEP_S), round(_PEAK_S / _STEP_S)
    n_steps = round(sum(reach_s) / _STEP_S) + n_calm + n_peak
    first = centres - (round(reach_s[0] / _STEP_S) + n_calm) * step
    pieces = cut_out(samples, first, n_steps * step + 2)
    looks = [_edge_levels(pieces, step, round(s * sample_rate_hz)) for s in _SMOOTHING_S]
    looks.append(_surprise_levels(samples, sample_rate_hz, first, n_steps, step))
    best_gain = np.full(len(centres), -np.inf, np.float32)
    best_at = np.zeros(len(centres), np.intp)
    for level in looks:
        gain, at = _largest_step(level, n_calm, n_peak)
        better = gain > best_gain
        best_gain[better], best_at[better] = gain[better], at[better]
    return first + best_at * step, best_gain


def _edge_levels(pieces: FloatArray, step: int, smoothing: int) -> FloatArray:
    smooth = uniform_filter1d(pieces, smoothing, axis=1) if smoothing > 1 else pieces
    edge = np.diff(smooth, n=2, axis=1)
    power = (edge * edge).reshape(len(edge), -1, step).mean(axis=2)
    return np.asarray(10.0 * np.log10(power + 1e-14), np.float32)


def _surprise_levels(
    samples: Samples, sample_rate_hz: int, first: IntArray, n_steps: int, step: int
) -> FloatArray:
    """Return the level of what the stretch before does not foresee, per step."""
    thin = max(round(sample_rate_hz / _FORESEE_HZ), 1)
    per_step = max(step // thin, 1)
    n_learn = round(_LEARN_S * sample_rate_hz / thin)
    length = (n_learn + _ORDER + n_steps * per_step) * thin
    pieces = cut_out(samples, first - (n_learn + _ORDER) * thin, length)
    slow = pieces.reshape(len(pieces), -1, thin).mean(axis=2)
    taps = _prediction(slow[:, : n_learn + _ORDER])
    error = slow[:, _ORDER:].copy()
    for k in range(1, _ORDER + 1):
        error -= taps[:, k - 1, None] * slow[:, _ORDER - k : slow.shape[1] - k]
    error = error[:, n_learn:]
    power = (error * error).reshape(len(error), n_steps, per_step).mean(axis=2)
    # Steps of the thinned signal are a little shorter or longer than those of the samples.
    index = np.minimum(np.arange(n_steps) * step // (per_step * thin), n_steps - 1)
    return np.asarray(10.0 * np.log10(power[:, index] + 1e-14), np.float32)


def _prediction(learnt: FloatArray) -> FloatArray:
    """Return prediction filters by the autocorrelation method, shape (pieces, order)."""
    windowed = learnt * np.hanning(learnt.shape[1]).astype(np.float32)
    n_fft = fft.next_fast_len(2 * learnt.shape[1], real=True)
    spectrum = fft.rfft(windowed.astype(np.float64), n_fft)
    lags = fft.irfft(np.abs(spectrum) ** 2, n_fft)[:, : _ORDER + 1]
    lags[:, 0] = lags[:, 0] * (1.0 + 1e-5) + 1e-12
    index = np.abs(np.arange(_ORDER)[:, None] - np.arange(_ORDER))
    taps = np.linalg.solve(lags[:, index], lags[:, 1:, None])[:, :, 0]
    return np.asarray(taps, np.float32)


def _largest_step(level: FloatArray, n_calm: int, n_peak: int) -> tuple[FloatArray, IntArray]:
    """Return the largest rise over the calm before, and the step at which it is passed."""
    n = level.shape[1]
    ahead = maximum_filter1d(level, n_peak, axis=1, origin=-(n_peak // 2))
    calm = maximum_filter1d(level, n_calm, axis=1, origin=(n_calm - 1) // 2)
    reached = ahead[:, n_calm : n - n_peak]
    gain = reached - calm[:, n_calm - 1 : n - n_peak - 1]
    loud = reached >= reached.max(axis=1, keepdims=True) - _UNDER_PEAK_DB
    top = np.argmax(np.where(loud, gain, -np.inf), axis=1) + n_calm
    rows = np.arange(len(level))
    high, low = ahead[rows, top], calm[rows, top - 1]
    bar = low + _SHARE * (high - low)
    near = np.clip(top[:, None] + np.arange(n_peak), 0, n - 1)
    at = top + np.argmax(level[rows[:, None], near] > bar[:, None], axis=1)
    return high - low, at


def cut_out(samples: Samples, starts: IntArray, length: int) -> FloatArray:
    """Return pieces of equal length, shape (pieces, length), zeros beyond the block."""
    pieces = np.zeros((len(starts), length), np.float32)
    for piece, start in zip(pieces, starts.tolist(), strict=True):
        inside = samples[max(start, 0) : max(start + length, 0)]
        before = max(-start, 0)
        piece[before : before + len(inside)] = inside
    return pieces
