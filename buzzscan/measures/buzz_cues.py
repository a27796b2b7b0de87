"""What a struck string does that a free one does not: cues of contact in one note.

Conventions
-----------
Levels in dB. Frequencies above the low partials are split into six bands of equal ratio, from
the higher of 700 Hz and 2.6 times the first partial, up to 8 kHz.

Limits
------
At least `SHORTEST_S` of the note after the attack. Above the recording's own noise only.

Notes
-----
Each partial of a free string is a damped sinusoid: what it will be one frame later is what it
is now times a constant. A string that strikes a fret is pushed anew every period, and part of
its motion does not follow from its past. That part, called *fresh* here, is the innovation of
linear prediction (Makhoul, Proc. IEEE 63, 1975), taken per frequency bin with one complex
coefficient, so it needs no knowledge of where exactly the stretched partials lie. Even decay,
the pluck's spectrum, pickup, body and bright strings cancel out; noise is subtracted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft

from buzzscan.measures.buzz_noise import NoiseFloor
from buzzscan.recording import Samples

__all__ = ["PARTS_HZ", "SHORTEST_S", "STOP_S", "Cues", "hear_cues"]

FloatArray = npt.NDArray[np.floating[Any]]

START_S = 0.055
"""The attack, the pick's click and a boundary some milliseconds off lie before it."""
STOP_S = 0.6
_END_MARGIN_S = 0.02
SHORTEST_S = 0.05
_PERIODS = 4.2
"""Length of a frame: the main lobes of neighbouring partials just part."""
_LEAST_FRAME_S = 0.018
_HOPS = 4
"""Hops per frame; the prediction looks one whole frame ahead."""
LOW_HZ, HIGH_HZ = 700.0, 8000.0
_LOW_PARTIALS = 2.6
_BANDS = 6
PARTS_HZ = (700.0, 1400.0, 2800.0, 5000.0, 8000.0)
"""Parts in which buzz is added up; a guitar's speaker ends at one of these edges."""
_SLOT_S = 0.025
_PAIRS = ((0, 2), (2, 4), (4, 6))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cues:
    """Cues of contact in one note.

    Parameters
    ----------
    fresh_db
        Fresh power over the power of the band, for the lower, middle and upper third.
    fresh_line_db
        The same as the mean over partials, each counting by how far it is over the noise.
    fresh_low_db
        The same for the partials below the bands.
    fresh_share_db
        Fresh power of each third over the power of the low partials.
    rough_db
        Scatter of the level of each third about a smooth decay.
    rough_low_db
        The same below the bands.
    late_db
        Level of each third in the later half over that of the low partials.
    over_noise_db
        Level of each third over the noise.
    part_db
        Energy of each part of `PARTS_HZ`, noise subtracted, over the energy of the whole note.
    part_fresh_db
        Fresh power of each of these parts over its power.
    course_s, course_fresh_db
        Fresh share of the lower and middle third over time, in seconds after the onset.
    length_s
        Length of the stretch listened to.
    first_partial_hz
        Frequency the frames were made for.
    """

    fresh_db: tuple[float, float, float]
    fresh_held_db: tuple[float, float, float]
    fresh_least_db: tuple[float, float, float]
    fresh_line_db: tuple[float, float, float]
    fresh_line_held_db: tuple[float, float, float]
    fresh_low_db: float
    fresh_low_held_db: float
    fresh_line_low_db: float
    fresh_line_low_held_db: float
    fresh_share_db: tuple[float, float, float]
    fresh_share_held_db: tuple[float, float, float]
    rough_db: tuple[float, float, float]
    rough_low_db: float
    late_db: tuple[float, float, float]
    over_noise_db: tuple[float, float, float]
    part_db: tuple[float, ...]
    part_fresh_db: tuple[float, ...]
    course_s: tuple[float, ...]
    course_fresh_db: tuple[float, ...]
    length_s: float
    first_partial_hz: float


@dataclass(frozen=True, slots=True)
class _Frames:
    """Short-time spectrum of the stretch, noise known per bin."""

    bins: npt.NDArray[np.complex64]
    power: FloatArray
    noise: FloatArray
    frequencies_hz: FloatArray
    to_mean_square: float
    hop_s: float
    edges: npt.NDArray[np.intp]


def hear_cues(
    after: Samples, *, sample_rate_hz: int, first_partial_hz: float, noise: NoiseFloor
) -> Cues | None:
    """Return the cues of contact in one note, or None where it is too short.

    Parameters
    ----------
    after
        The note from its onset to its end.
    sample_rate_hz
        Of the samples.
    first_partial_hz
        First partial, within 3 per cent.
    noise
        Of the recording.
    """
    start = round(START_S * sample_rate_hz)
    stop = min(round(STOP_S * sample_rate_hz), after.size - round(_END_MARGIN_S * sample_rate_hz))
    if stop - start < SHORTEST_S * sample_rate_hz:
        return None
    stretch = after[start:stop]
    frames = _frames(stretch, sample_rate_hz, first_partial_hz, noise)
    fresh = _predict(frames)
    whole = float(np.sum(np.square(after, dtype=np.float64)))
    return Cues(
        **_fresh(frames, fresh, first_partial_hz),
        **_shape(frames),
        **_course(frames),
        **_parts(frames, fresh, stretch.size / max(whole, _LEAST_POWER)),
        length_s=stretch.size / sample_rate_hz,
        first_partial_hz=first_partial_hz,
    )


def _frames(stretch: Samples, rate: int, f1: float, noise: NoiseFloor) -> _Frames:
    width = int(max(_PERIODS / f1, _LEAST_FRAME_S) * rate)
    width = min(width, int(stretch.size / (1.0 + (_HOPS + 1) / _HOPS)))
    hop = max(width // _HOPS, 1)
    n = fft.next_fast_len(width, real=True)
    window = np.hanning(width + 1)[:width].astype(np.float32)
    framed = np.lib.stride_tricks.sliding_window_view(stretch, width)[::hop]
    frequencies = np.arange(n // 2 + 1) * (rate / n)
    low = max(LOW_HZ, _LOW_PARTIALS * f1)
    bands = np.geomspace(low, min(HIGH_HZ, 0.48 * rate), _BANDS + 1)
    edges = np.searchsorted(frequencies, [max(40.0, 0.6 * f1), *bands])
    bins = fft.rfft(framed * window, n, axis=1)[:, : edges[-1] + 1]
    gain = 0.5 * rate * float(np.sum(window.astype(np.float64) ** 2))
    return _Frames(
        bins=bins,
        power=(bins.real**2 + bins.imag**2).astype(np.float64),
        noise=noise.at(frequencies[: edges[-1] + 1]) * gain,
        frequencies_hz=frequencies[: edges[-1] + 1],
        to_mean_square=rate / n / gain,
        hop_s=hop / rate,
        edges=edges,
    )


_NOISE_IN_FRESH = 1.8
"""Noise is not predictable at all, and what it adds to the past is added once more; a little
under 2 because the past fades."""
_NOISE_LEFT = 0.1
"""Share of the noise that is never subtracted: its own scatter over some tens of bins."""
_LEAST_POWER = 1e-14
_LEAST_LATE = 1e-7
_BACKGROUND = 1e-5
"""−50 dB: strings and parts that ring along, and how little of each third of the spectrum,
against the low partials, is never taken for the string's own (real notes without noise)."""


_BLOCK_S = 0.11
_MOST_BLOCKS = 4
"""A squeak or a knock fills one of the blocks, contact begins in the first and goes on."""


@dataclass(frozen=True, slots=True)
class _Fresh:
    """Power and its fresh part per block and bin, shapes (blocks, bins); noise per block."""

    left: FloatArray
    power: FloatArray
    noise: FloatArray


def _block_starts(frames: _Frames, steps: int) -> npt.NDArray[np.intp]:
    n_blocks = int(np.clip(steps * frames.hop_s / _BLOCK_S, 1, _MOST_BLOCKS))
    return np.arange(n_blocks) * steps // n_blocks


def _predict(frames: _Frames) -> _Fresh:
    steps = len(frames.bins) - _HOPS
    before, now = frames.bins[:steps], frames.bins[_HOPS:]
    starts = _block_starts(frames, steps)
    counts = np.diff([*starts, steps])[:, None]
    power = np.add.reduceat(frames.power[_HOPS:], starts, axis=0)
    past = np.add.reduceat(frames.power[:steps], starts, axis=0)
    cross = np.add.reduceat(now * before.conj(), starts, axis=0)
    explained = (cross.real**2 + cross.imag**2) / np.maximum(past, _LEAST_POWER)
    # frames overlap, so about every second hop is a new observation; one is spent on the fit
    independent = 1.0 + 0.5 * (counts - 1)
    left = np.maximum(power - explained, 0.0) / np.maximum(1.0 - 1.0 / independent, 0.15)
    return _Fresh(left, power, frames.noise * counts + _background(frames, power))


def _background(frames: _Frames, power: FloatArray) -> FloatArray:
    """Return the power that rings along with any note, per block and bin."""
    e = frames.edges
    low = power[:, e[0] : e[1]].sum(1, keepdims=True)
    per_bin = np.zeros(power.shape[1])
    for a, b in _PAIRS:
        first, last = e[1 + a], e[1 + b]
        per_bin[first:last] = _BACKGROUND / max(int(last - first), 1)
    return np.asarray(low * per_bin)


def _share(left: FloatArray, power: FloatArray, noise: FloatArray) -> FloatArray:
    """Return fresh power over power, between its bounds, and −17 dB where noise is all there is."""
    fresh = np.maximum(left - _NOISE_IN_FRESH * noise, _NOISE_LEFT * noise)
    return np.asarray(np.clip(fresh / (power + 4.0 * noise + _LEAST_POWER), 1e-5, 1.0))


def _parts(frames: _Frames, fresh: _Fresh, per_whole: float) -> dict[str, Any]:
    """Return energy and fresh share of the parts of 0.7–8 kHz.

    `per_whole` turns a mean square over the stretch into a share of the note's energy.
    """
    e = np.minimum(np.searchsorted(frames.frequencies_hz, PARTS_HZ), frames.power.shape[1] - 1)
    mean = frames.power.mean(0) - frames.noise
    left, power, noise = (
        np.add.reduceat(v.sum(0), e)[:-1] for v in (fresh.left, fresh.power, fresh.noise)
    )
    energy = np.add.reduceat(mean, e)[:-1] * frames.to_mean_square * per_whole
    return {
        "part_db": tuple(10.0 * np.log10(np.maximum(energy, 1e-12))),
        "part_fresh_db": tuple(10.0 * np.log10(_share(left, power, noise))),
    }


def _fresh(frames: _Frames, fresh: _Fresh, f1: float) -> dict[str, Any]:
    """Return the fresh part of each band."""
    e = frames.edges
    ends = [(e[0], e[1]), *((e[1 + a], e[1 + b]) for a, b in _PAIRS)]
    left, power, noise = (
        np.stack([v[:, a:b].sum(1) for a, b in ends], axis=1)
        for v in (fresh.left, fresh.power, fresh.noise)
    )
    share = 10.0 * np.log10(_share(left, power, noise))
    left = np.maximum(left - _NOISE_IN_FRESH * noise, _NOISE_LEFT * noise + _LEAST_POWER)
    total = 10.0 * np.log10(left / (power[:, :1] + _LEAST_POWER))
    lines = _fresh_lines(frames, f1, fresh)
    return {
        "fresh_db": tuple(share[0, 1:]),
        "fresh_held_db": tuple(np.median(share, axis=0)[1:]),
        "fresh_least_db": tuple(np.min(share, axis=0)[1:]),
        "fresh_line_db": tuple(lines[0, 1:]),
        "fresh_line_held_db": tuple(np.median(lines, axis=0)[1:]),
        "fresh_low_db": share[0, 0],
        "fresh_low_held_db": np.median(share[:, 0]),
        "fresh_line_low_db": lines[0, 0],
        "fresh_line_low_held_db": np.median(lines[:, 0]),
        "fresh_share_db": tuple(total[0, 1:]),
        "fresh_share_held_db": tuple(np.median(total, axis=0)[1:]),
    }


def _fresh_lines(frames: _Frames, f1: float, fresh: _Fresh) -> FloatArray:
    """Return the mean over partials of their fresh share in dB, shape (blocks, 1 + thirds).

    Every stretch of the spectrum as wide as `f1` holds one partial, wherever stiffness puts it.
    """
    f = frames.frequencies_hz
    last = frames.edges[-1]
    n_lines = max(int(f[last - 1] / f1 - 0.5), 1)
    starts = np.round((np.arange(n_lines) + 0.5) * f1 / f[1]).astype(np.intp)
    left, power, noise = (
        np.add.reduceat(v[:, :last], starts, axis=1) for v in (fresh.left, fresh.power, fresh.noise)
    )
    total = power.sum(axis=1, keepdims=True)
    # where nothing is left of the string (a codec's or a phone's band limit) nothing counts
    weight = power / (power + 8.0 * noise + 1e-7 * total + _LEAST_POWER) + 1e-6
    level = 10.0 * np.log10(_share(left, power, noise))
    edges = f[np.minimum(frames.edges, f.size - 1)]
    out = []
    for low, high in [(0.0, edges[1]), *((edges[1 + a], edges[1 + b]) for a, b in _PAIRS)]:
        inside = (f[starts] >= low - 0.5 * f1) & (f[starts] < high - 0.5 * f1)
        if not inside.any():
            inside = np.arange(n_lines) == int(np.argmin(np.abs(f[starts] - low)))
        w = weight[:, inside]
        out.append(np.sum(level[:, inside] * w, axis=1) / np.sum(w, axis=1))
    return np.stack(out, axis=1)


def _shape(frames: _Frames) -> dict[str, Any]:
    """Return how the level of each band runs over time."""
    e = frames.edges
    low = np.maximum(frames.power[:, e[0] : e[1]].sum(1) - frames.noise[e[0] : e[1]].sum(), 1e-12)
    t = np.arange(len(low)) * frames.hop_s
    half = len(low) // 2
    rough, late, over = [], [], []
    for a, b in _PAIRS:
        noise = float(frames.noise[e[1 + a] : e[1 + b]].sum())
        power = frames.power[:, e[1 + a] : e[1 + b]].sum(1)
        heard = float(power[half:].sum()) - noise * (len(low) - half)
        late.append(_db(max(heard / float(low[half:].sum()), _LEAST_LATE)))
        noise += _BACKGROUND * float(low.mean())
        level = 10.0 * np.log10(np.maximum(power - 1.2 * noise, 0.05 * noise + 1e-13))
        rough.append(_scatter(t, level))
        over.append(_db(float(power.mean()) / (noise + _LEAST_POWER)))
    return {
        "rough_db": tuple(rough),
        "rough_low_db": _scatter(t, 10.0 * np.log10(low)),
        "late_db": tuple(late),
        "over_noise_db": tuple(over),
    }


def _scatter(t: FloatArray, level: FloatArray) -> float:
    """Return the rms of levels about a gently bent line."""
    x = t - t.mean()
    spread = float(np.dot(x, x))
    if x.size < 3 or spread == 0.0:
        return 0.0
    miss = level - level.mean() - x * (float(np.dot(x, level)) / spread)
    if x.size >= 6:
        bent = x * x - spread / x.size
        bent = bent - x * (float(np.dot(bent, x)) / spread)
        miss = miss - bent * (float(np.dot(miss, bent)) / float(np.dot(bent, bent)))
    return float(np.sqrt(np.mean(miss * miss)))


def _course(frames: _Frames) -> dict[str, Any]:
    """Return the fresh share of the lower bands over time, in slots of about `_SLOT_S`."""
    first, last = frames.edges[1], frames.edges[5]
    steps = len(frames.bins) - _HOPS
    before, now = frames.bins[:steps, first:last], frames.bins[_HOPS:, first:last]
    starts = _block_starts(frames, steps)
    counts = np.diff([*starts, steps])
    past = np.add.reduceat(frames.power[:steps, first:last], starts, axis=0)
    cross = np.add.reduceat(now * before.conj(), starts, axis=0)
    constant = (cross / np.maximum(past, _LEAST_POWER)).astype(np.complex64)
    miss = now - np.repeat(constant, counts, axis=0) * before
    left = (miss.real**2 + miss.imag**2).sum(1) - _NOISE_IN_FRESH * frames.noise[first:last].sum()
    power = frames.power[_HOPS:, first:last].sum(1)
    n_slots = max(int(steps * frames.hop_s / _SLOT_S), 1)
    slots = np.arange(n_slots) * steps // n_slots
    left, power = np.add.reduceat(left, slots), np.add.reduceat(power, slots)
    share = 10.0 * np.log10(np.clip(left / np.maximum(power, _LEAST_POWER), 1e-5, 1.0))
    middle = (np.array([*slots[1:], steps]) + slots) / 2.0 + _HOPS
    return {
        "course_s": tuple(START_S + middle * frames.hop_s),
        "course_fresh_db": tuple(share),
    }


def _db(ratio: float) -> float:
    return 10.0 * float(np.log10(max(ratio, 1e-14)))
