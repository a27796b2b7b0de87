"""Short-time spectrum of a note, and how far each bin follows from its past.

Conventions
-----------
Frames start one after the other every quarter of their length and look one frame ahead.
`Frames.edges` are bins: where the low partials begin, then the edges of six bands of equal
ratio from the higher of 700 Hz and 2.6 times the first partial up to 8 kHz. Two bands make a
*third*.

Limits
------
A frame holds 4.2 periods, or as much as a short note allows.

Notes
-----
Each partial of a free string is a damped sinusoid: what it will be one frame later is what it
is now times a constant. A string that strikes a fret is pushed anew every period, and part of
its motion does not follow from its past. That part, called *fresh* here, is the innovation of
linear prediction (Makhoul, Proc. IEEE 63, 1975), taken per frequency bin, so it needs no
knowledge of where exactly the stretched partials lie. Even decay, the pluck's spectrum, pickup,
body and bright strings cancel out; noise is subtracted. One coefficient fits one sinusoid per
bin; two fit a pair that beats (two directions of vibration, phantom partials of a wound string:
Conklin, J. Acoust. Soc. Am. 105, 1999).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft

from buzzscan.measures.buzz_noise import NoiseFloor
from buzzscan.recording import Samples

__all__ = [
    "BACKGROUND",
    "HIGH_HZ",
    "HOPS",
    "LEAST_POWER",
    "LOW_HZ",
    "LOW_PARTIALS",
    "NOISE_IN_FRESH",
    "NOISE_LEFT",
    "THIRDS",
    "Frames",
    "Fresh",
    "block_starts",
    "fresh_share",
    "hann",
    "make_frames",
    "predict",
    "predict_pairs",
]

FloatArray = npt.NDArray[np.floating[Any]]

_PERIODS = 4.2
"""Length of a frame: the main lobes of neighbouring partials just part."""
_LEAST_FRAME_S = 0.018
HOPS = 4
"""Hops per frame; the prediction looks one whole frame ahead."""
LOW_HZ, HIGH_HZ = 700.0, 8000.0
LOW_PARTIALS = 2.6
_BANDS = 6
THIRDS = ((1, 3), (3, 5), (5, 7))
"""Places in `Frames.edges` where each third begins and ends."""
NOISE_IN_FRESH = 1.8
"""Noise is not predictable at all, and what it adds to the past is added once more; a little
under 2 because the past fades."""
NOISE_LEFT = 0.1
"""Share of the noise that is never subtracted: its own scatter over some tens of bins."""
LEAST_POWER = 1e-14
BACKGROUND = 1e-5
"""−50 dB: strings and parts that ring along, and how little of each third of the spectrum,
against the low partials, is never taken for the string's own (real notes without noise)."""
_BLOCK_S = 0.11
_MOST_BLOCKS = 4
"""A squeak or a knock fills one of the blocks, contact begins in the first and goes on."""
_PAIR_BLOCK_S = 0.22
_MOST_PAIR_BLOCKS = 2
"""Pairs that beat slowly are only told apart over a longer stretch."""


@dataclass(frozen=True, slots=True)
class Frames:
    """Short-time spectrum of the stretch, noise known per bin.

    Parameters
    ----------
    bins, power
        Shape (frames, bins).
    noise, frequencies_hz
        Shape (bins,).
    to_mean_square
        Factor from a sum of power over bins to the mean square of the samples.
    hop_s
        Seconds from frame to frame.
    edges
        See the module's conventions.
    """

    bins: npt.NDArray[np.complex64]
    power: FloatArray
    noise: FloatArray
    frequencies_hz: FloatArray
    to_mean_square: float
    hop_s: float
    edges: npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Fresh:
    """Power and its fresh part per block and bin, shapes (blocks, bins); noise per block."""

    left: FloatArray
    power: FloatArray
    noise: FloatArray


def make_frames(stretch: Samples, *, rate: int, f1: float, noise: NoiseFloor) -> Frames:
    """Return the short-time spectrum of a stretch of a note.

    Parameters
    ----------
    stretch
        Samples after the attack.
    rate, f1
        Sample rate, and first partial within 3 per cent, in Hz.
    noise
        Of the recording.
    """
    width = int(max(_PERIODS / f1, _LEAST_FRAME_S) * rate)
    width = min(width, int(stretch.size / (1.0 + (HOPS + 1) / HOPS)))
    hop = max(width // HOPS, 1)
    n = fft.next_fast_len(width, real=True)
    window = hann(width)
    framed = np.lib.stride_tricks.sliding_window_view(stretch, width)[::hop]
    frequencies = np.arange(n // 2 + 1) * (rate / n)
    low = max(LOW_HZ, LOW_PARTIALS * f1)
    bands = np.geomspace(low, min(HIGH_HZ, 0.48 * rate), _BANDS + 1)
    edges = np.searchsorted(frequencies, [max(40.0, 0.6 * f1), *bands])
    bins = fft.rfft(framed * window, n, axis=1)[:, : edges[-1] + 1]
    gain = 0.5 * rate * float(np.sum(window.astype(np.float64) ** 2))
    return Frames(
        bins=bins,
        power=(bins.real**2 + bins.imag**2).astype(np.float64),
        noise=noise.at(frequencies[: edges[-1] + 1]) * gain,
        frequencies_hz=frequencies[: edges[-1] + 1],
        to_mean_square=rate / n / gain,
        hop_s=hop / rate,
        edges=edges,
    )


@lru_cache(maxsize=64)
def hann(n: int) -> npt.NDArray[np.float32]:
    """Return the periodic Hann window of n samples."""
    window = np.hanning(n + 1)[:n].astype(np.float32)
    window.flags.writeable = False
    return window


def block_starts(frames: Frames, steps: int, *, pairs: bool = False) -> npt.NDArray[np.intp]:
    """Return the steps at which the blocks of a prediction begin."""
    block_s, most = (_PAIR_BLOCK_S, _MOST_PAIR_BLOCKS) if pairs else (_BLOCK_S, _MOST_BLOCKS)
    n_blocks = int(np.clip(steps * frames.hop_s / block_s, 1, most))
    return np.arange(n_blocks) * steps // n_blocks


def predict(frames: Frames) -> Fresh:
    """Return what one constant per bin and block leaves unexplained a frame ahead."""
    steps = len(frames.bins) - HOPS
    before, now = frames.bins[:steps], frames.bins[HOPS:]
    starts = block_starts(frames, steps)
    counts = np.diff([*starts, steps])[:, None]
    power = np.add.reduceat(frames.power[HOPS:], starts, axis=0)
    past = np.add.reduceat(frames.power[:steps], starts, axis=0)
    cross = np.add.reduceat(now * before.conj(), starts, axis=0)
    explained = (cross.real**2 + cross.imag**2) / np.maximum(past, LEAST_POWER)
    left = np.maximum(power - explained, 0.0) / _freedom(counts, 1)
    return Fresh(left, power, frames.noise * counts + _background(frames, power))


def predict_pairs(frames: Frames) -> Fresh:
    """Return what two constants per bin and block leave unexplained, half a frame ahead."""
    steps = len(frames.bins) - HOPS
    half = HOPS // 2
    now, near, far = frames.bins[HOPS:], frames.bins[half:-half], frames.bins[:steps]
    starts = block_starts(frames, steps, pairs=True)
    counts = np.diff([*starts, steps])[:, None]

    def total(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        return np.asarray(np.add.reduceat(values, starts, axis=0))

    power = total(frames.power[HOPS:])
    nn, ff = total(frames.power[half:-half]), total(frames.power[:steps])
    nn, ff = nn + 1e-4 * (nn + ff) + LEAST_POWER, ff + 1e-4 * (nn + ff) + LEAST_POWER
    nf = total(near * far.conj()).astype(np.complex128)
    xn = total(now * near.conj()).astype(np.complex128)
    xf = total(now * far.conj()).astype(np.complex128)
    # projection of `now` on `near`, then on what of `far` is new against `near`
    rest = np.maximum(ff - np.abs(nf) ** 2 / nn, 1e-6 * ff)
    crossed = xf - xn * nf / nn
    left = power - np.abs(xn) ** 2 / nn - np.abs(crossed) ** 2 / rest
    left = np.maximum(left, 0.0) / _freedom(counts, 2)
    return Fresh(left, power, frames.noise * counts + _background(frames, power))


def _freedom(counts: npt.NDArray[np.intp], constants: int) -> FloatArray:
    """Return the share of chance that a fit leaves.

    Frames overlap, so about every second hop is a new observation.
    """
    independent = 1.0 + 0.5 * (counts - 1)
    return np.asarray(np.maximum(1.0 - constants / independent, 0.15))


def _background(frames: Frames, power: FloatArray) -> FloatArray:
    """Return the power that rings along with any note, per block and bin."""
    e = frames.edges
    low = power[:, e[0] : e[1]].sum(1, keepdims=True)
    per_bin = np.zeros(power.shape[1])
    for a, b in THIRDS:
        per_bin[e[a] : e[b]] = BACKGROUND / max(int(e[b] - e[a]), 1)
    return np.asarray(low * per_bin)


def fresh_share(left: FloatArray, power: FloatArray, noise: FloatArray) -> FloatArray:
    """Return fresh power over power, between its bounds, and −17 dB where noise is all there is."""
    fresh = np.maximum(left - NOISE_IN_FRESH * noise, NOISE_LEFT * noise)
    return np.asarray(np.clip(fresh / (power + 4.0 * noise + LEAST_POWER), 1e-5, 1.0))
