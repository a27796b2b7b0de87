"""What a struck string does that a free one does not: cues of contact in one note.

Conventions
-----------
Levels in dB. *Fresh* is what does not follow from the note's own past, and a *third* one of
three bands above the low partials: see `buzzscan.measures.buzz_frames`. "Held" is the median
over time, "least" the least.

Limits
------
At least `SHORTEST_S` of the note after the attack. Above the recording's own noise only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft

from buzzscan.measures.buzz_frames import (
    BACKGROUND,
    HIGH_HZ,
    HOPS,
    LEAST_POWER,
    LOW_HZ,
    LOW_PARTIALS,
    NOISE_IN_FRESH,
    NOISE_LEFT,
    THIRDS,
    Frames,
    Fresh,
    block_starts,
    fresh_share,
    hann,
    make_frames,
    predict,
    predict_pairs,
)
from buzzscan.measures.buzz_noise import NoiseFloor
from buzzscan.recording import Samples

__all__ = ["PARTS_HZ", "SHORTEST_S", "STOP_S", "Cues", "hear_cues"]

FloatArray = npt.NDArray[np.floating[Any]]

START_S = 0.055
"""The attack, the pick's click and a boundary some milliseconds off lie before it."""
STOP_S = 0.6
_END_MARGIN_S = 0.02
SHORTEST_S = 0.05
PARTS_HZ = (700.0, 1400.0, 2800.0, 5000.0, 8000.0)
"""Parts in which buzz is added up; a guitar's speaker ends at one of these edges."""
_SLOT_S = 0.025
_LEAST_LATE = 1e-7
_FLOOR_OF_MEDIAN = 1.0 / float(np.log(2.0))
"""Mean of noise over its median (a bin's power is exponential)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cues:
    """Cues of contact in one note.

    Parameters
    ----------
    fresh_db
        Fresh power over the power of the band, for the lower, middle and upper third.
    fresh_held_db, fresh_least_db
        The same, held and least.
    fresh_line_db, fresh_line_held_db
        The same as the mean over partials, each counting by how far it is over the noise.
    fresh_low_db, fresh_low_held_db, fresh_line_low_db, fresh_line_low_held_db
        The same for the partials below the bands.
    fresh_share_db, fresh_share_held_db
        Fresh power of each third over the power of the low partials.
    pair_db, pair_line_db, pair_line_low_db
        Fresh shares where a pair of sinusoids that beat counts as free: of each third, over its
        partials, and over the low ones.
    gap_db, gap_low_db
        Power midway between the partials over theirs, mean over the partials of each third and
        over the low ones.
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
    pair_db: tuple[float, float, float]
    pair_line_db: tuple[float, float, float]
    pair_line_low_db: float
    gap_db: tuple[float, float, float]
    gap_low_db: float
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
    frames = make_frames(stretch, rate=sample_rate_hz, f1=first_partial_hz, noise=noise)
    fresh, lines = predict(frames), _lines_of(frames, first_partial_hz)
    whole = float(np.sum(np.square(after, dtype=np.float64)))
    return Cues(
        **_fresh(frames, fresh, lines),
        **_pairs(frames, lines),
        **_gaps(stretch, sample_rate_hz, first_partial_hz, noise),
        **_shape(frames),
        **_course(frames),
        **_parts(frames, fresh, stretch.size / max(whole, LEAST_POWER)),
        length_s=stretch.size / sample_rate_hz,
        first_partial_hz=first_partial_hz,
    )


def _parts(frames: Frames, fresh: Fresh, per_whole: float) -> dict[str, Any]:
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
        "part_fresh_db": tuple(10.0 * np.log10(fresh_share(left, power, noise))),
    }


def _fresh(frames: Frames, fresh: Fresh, on: _Lines) -> dict[str, Any]:
    """Return the fresh part of each band."""
    e = frames.edges
    ends = [(e[0], e[1]), *((e[a], e[b]) for a, b in THIRDS)]
    left, power, noise = (
        np.stack([v[:, a:b].sum(1) for a, b in ends], axis=1)
        for v in (fresh.left, fresh.power, fresh.noise)
    )
    share = 10.0 * np.log10(fresh_share(left, power, noise))
    left = np.maximum(left - NOISE_IN_FRESH * noise, NOISE_LEFT * noise + LEAST_POWER)
    total = 10.0 * np.log10(left / (power[:, :1] + LEAST_POWER))
    lines = _fresh_lines(fresh, on)
    held_share, held_total, held_lines = (_middle(v) for v in (share, total, lines))
    return {
        "fresh_db": tuple(share[0, 1:]),
        "fresh_held_db": tuple(held_share[1:]),
        "fresh_least_db": tuple(np.min(share, axis=0)[1:]),
        "fresh_line_db": tuple(lines[0, 1:]),
        "fresh_line_held_db": tuple(held_lines[1:]),
        "fresh_low_db": share[0, 0],
        "fresh_low_held_db": held_share[0],
        "fresh_line_low_db": lines[0, 0],
        "fresh_line_low_held_db": held_lines[0],
        "fresh_share_db": tuple(total[0, 1:]),
        "fresh_share_held_db": tuple(held_total[1:]),
    }


def _middle(blocks: FloatArray) -> FloatArray:
    """Return the median over rows; on so few, numpy's spends its time on everything else."""
    ordered = np.sort(blocks, axis=0)
    n = len(blocks)
    return np.asarray(0.5 * (ordered[(n - 1) // 2] + ordered[n // 2]))


@dataclass(frozen=True, slots=True)
class _Lines:
    """Stretches of the spectrum that hold one partial each.

    `starts` are their first bins, `last` is the bin after all; `inside` is 1 for those in the low
    band and in each third, shape (stretches, 1 + thirds).
    """

    starts: npt.NDArray[np.intp]
    last: int
    inside: FloatArray


def _lines_of(frames: Frames, f1: float) -> _Lines:
    """Return stretches as wide as `f1`: each holds its partial wherever stiffness puts it."""
    f = frames.frequencies_hz
    last = int(frames.edges[-1])
    n_lines = max(int(f[last - 1] / f1 - 0.5), 1)
    starts = np.round((np.arange(n_lines) + 0.5) * f1 / f[1]).astype(np.intp)
    edges = f[np.minimum(frames.edges, f.size - 1)]
    bands = [(0.0, edges[1]), *((edges[a], edges[b]) for a, b in THIRDS)]
    return _Lines(starts=starts, last=last, inside=_inside(f[starts], bands, margin=0.5 * f1))


def _inside(
    places_hz: FloatArray, bands: Sequence[tuple[float, float]], *, margin: float = 0.0
) -> FloatArray:
    """Return 1 for the places in each band less a margin, shape (places, bands).

    A band without any has the place nearest to its lower edge.
    """
    columns = []
    for low, high in bands:
        column = (places_hz >= low - margin) & (places_hz < high - margin)
        if not column.any():
            column[int(np.argmin(np.abs(places_hz - low)))] = True
        columns.append(column)
    return np.stack(columns, axis=1).astype(np.float64)


def _fresh_lines(fresh: Fresh, on: _Lines) -> FloatArray:
    """Return the mean over partials of their fresh share in dB, shape (blocks, 1 + thirds)."""
    left, power, noise = (
        np.add.reduceat(v[:, : on.last], on.starts, axis=1)
        for v in (fresh.left, fresh.power, fresh.noise)
    )
    total = power.sum(axis=1, keepdims=True)
    # where nothing is left of the string (a codec's or a phone's band limit) nothing counts
    weight = power / (power + 8.0 * noise + 1e-7 * total + LEAST_POWER) + 1e-6
    level = 10.0 * np.log10(fresh_share(left, power, noise))
    return np.asarray((level * weight) @ on.inside / (weight @ on.inside))


def _pairs(frames: Frames, on: _Lines) -> dict[str, Any]:
    """Return the fresh part of each third where beating pairs count as free."""
    fresh = predict_pairs(frames)
    ends = [(frames.edges[a], frames.edges[b]) for a, b in THIRDS]
    left, power, noise = (
        np.stack([v[0, a:b].sum() for a, b in ends]) for v in (fresh.left, fresh.power, fresh.noise)
    )
    lines = _fresh_lines(fresh, on)[0]
    return {
        "pair_db": tuple(10.0 * np.log10(fresh_share(left, power, noise))),
        "pair_line_db": tuple(lines[1:]),
        "pair_line_low_db": lines[0],
    }


def _gaps(stretch: Samples, rate: int, f1: float, noise: NoiseFloor) -> dict[str, Any]:
    """Return the power between the partials over theirs, by the spectrum of the whole stretch."""
    n = fft.next_fast_len(stretch.size, real=True)
    window = hann(stretch.size)
    bins = fft.rfft(stretch * window, n)
    spacing = f1 * n / rate
    n_lines = max(int(min(HIGH_HZ, 0.48 * rate) / f1 - 0.5), 1)
    width = max(int(spacing), 2)
    starts = np.round((np.arange(n_lines) + 0.5) * spacing).astype(np.intp)
    places = np.minimum(starts[:, None] + np.arange(width), bins.size - 1)
    power = (bins.real**2 + bins.imag**2)[places]
    middle = _middle(power.T) * (_FLOOR_OF_MEDIAN * width)
    total = power.sum(1)
    gain = 0.5 * rate * float(np.sum(window.astype(np.float64) ** 2))
    centres = (np.arange(n_lines) + 1.0) * f1
    low = max(LOW_HZ, LOW_PARTIALS * f1)
    floor = noise.at(centres) * gain * width + BACKGROUND / 3.0 * total[centres < low].sum() * (
        f1 / low
    )
    level = 10.0 * np.log10(fresh_share(middle, total, floor))
    weight = total / (total + 8.0 * floor + LEAST_POWER) + 1e-6
    edges = np.geomspace(low, max(min(HIGH_HZ, 0.48 * rate), 1.2 * low), 4)
    inside = _inside(centres, [(0.0, low), *pairwise(edges)])
    gaps = (level * weight) @ inside / (weight @ inside)
    return {"gap_low_db": float(gaps[0]), "gap_db": tuple(gaps[1:].tolist())}


def _shape(frames: Frames) -> dict[str, Any]:
    """Return how the level of each band runs over time."""
    e = frames.edges
    low = np.maximum(frames.power[:, e[0] : e[1]].sum(1) - frames.noise[e[0] : e[1]].sum(), 1e-12)
    t = np.arange(len(low)) * frames.hop_s
    half = len(low) // 2
    levels, late, over = [10.0 * np.log10(low)], [], []
    for a, b in THIRDS:
        noise = float(frames.noise[e[a] : e[b]].sum())
        power = frames.power[:, e[a] : e[b]].sum(1)
        heard = float(power[half:].sum()) - noise * (len(low) - half)
        late.append(_db(max(heard / float(low[half:].sum()), _LEAST_LATE)))
        noise += BACKGROUND * float(low.mean())
        levels.append(10.0 * np.log10(np.maximum(power - 1.2 * noise, 0.05 * noise + 1e-13)))
        over.append(_db(float(power.mean()) / (noise + LEAST_POWER)))
    rough = _scatter(t, np.array(levels)).tolist()
    return {
        "rough_db": tuple(rough[1:]),
        "rough_low_db": rough[0],
        "late_db": tuple(late),
        "over_noise_db": tuple(over),
    }


def _scatter(t: FloatArray, levels: FloatArray) -> FloatArray:
    """Return the rms of each row of levels about a gently bent line of its own."""
    x = t - t.mean()
    spread = float(x @ x)
    if x.size < 3 or spread == 0.0:
        return np.zeros(len(levels))
    miss = levels - levels.mean(axis=1, keepdims=True) - np.outer(levels @ x / spread, x)
    if x.size >= 6:
        bent = x * x - spread / x.size
        bent = bent - x * (float(bent @ x) / spread)
        miss = miss - np.outer(miss @ bent / float(bent @ bent), bent)
    return np.asarray(np.sqrt(np.mean(miss * miss, axis=1)))


def _course(frames: Frames) -> dict[str, Any]:
    """Return the fresh share of the lower bands over time, in slots of about `_SLOT_S`."""
    first, last = frames.edges[1], frames.edges[5]
    steps = len(frames.bins) - HOPS
    before, now = frames.bins[:steps, first:last], frames.bins[HOPS:, first:last]
    starts = block_starts(frames, steps)
    counts = np.diff([*starts, steps])
    past = np.add.reduceat(frames.power[:steps, first:last], starts, axis=0)
    cross = np.add.reduceat(now * before.conj(), starts, axis=0)
    constant = (cross / np.maximum(past, LEAST_POWER)).astype(np.complex64)
    miss = now - np.repeat(constant, counts, axis=0) * before
    left = (miss.real**2 + miss.imag**2).sum(1) - NOISE_IN_FRESH * frames.noise[first:last].sum()
    power = frames.power[HOPS:, first:last].sum(1)
    n_slots = max(int(steps * frames.hop_s / _SLOT_S), 1)
    slots = np.arange(n_slots) * steps // n_slots
    left, power = np.add.reduceat(left, slots), np.add.reduceat(power, slots)
    share = 10.0 * np.log10(np.clip(left / np.maximum(power, LEAST_POWER), 1e-5, 1.0))
    middle = (np.array([*slots[1:], steps]) + slots) / 2.0 + HOPS
    return {
        "course_s": tuple(START_S + middle * frames.hop_s),
        "course_fresh_db": tuple(share),
    }


def _db(ratio: float) -> float:
    return 10.0 * float(np.log10(max(ratio, 1e-14)))
