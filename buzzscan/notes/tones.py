"""What the partials of a candidate's pitch do across its onset.

Conventions
-----------
The strongest partials are shifted to 0 Hz and smoothed; their complex amplitudes then tell when
they begin, whether they are new, and whether they hold their frequency as a string's do.

Limits
------
Times are good to some 5 ms: `buzzscan.notes.attack` says where in between the attack lies.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from buzzscan.notes.attack import cut_out
from buzzscan.recording import Samples

__all__ = ["Tones", "follow_tones"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

_THIN_HZ = 11000.0
_BEFORE_S, _AFTER_S = 0.070, 0.120
_SMOOTH_S = 0.016
"""Long enough to part the partials of most notes, short enough for the fastest."""
_HELD_S, _HELD_SHORT_S = (0.065, 0.110), (0.035, 0.075)
"""Stretch after the onset whose amplitude the beginning is matched against: late enough to be
free of a squeak that runs into the note, earlier where the next note follows soon."""
_FITS_BETTER = 0.6
"""Share of what silent partials between two moments would add to the match."""
_UP_ALREADY = 0.6
"""Share of their later level at which the partials sound already."""
_MOST_OVER = 1.5
"""A partial's attack over the level that it holds later on."""
_UP_RATIO = 10.0
"""Power of all partials over what was before, and under what follows, for a beginning."""
_NEAR_S, _FAR_S = (0.010, 0.034), (0.008, 0.040)
"""Before: from 34 to 10 ms; after: from 8 to 40 ms."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tones:
    """What the partials do, one row per candidate.

    Parameters
    ----------
    begin
        Sample at which the partials begin: the onset itself unless they say plainly otherwise.
    new
        Share of the amplitude after the onset that does not go on from before, 0–1, whatever
        the level: 1 for a new pitch or a string picked again.
    rise_db
        Level after the onset over the lowest in the 60 ms before.
    steady
        How well the partials hold their frequency, 0–1: a string 0.9 and more, a gliding voice
        less.
    """

    begin: IntArray
    new: FloatArray
    rise_db: FloatArray
    steady: FloatArray


def follow_tones(
    samples: Samples,
    sample_rate_hz: int,
    onsets: IntArray,
    room: IntArray,
    *,
    partials_hz: FloatArray,
    powers: FloatArray,
) -> Tones:
    """Return what the strongest partials do around each onset.

    Parameters
    ----------
    samples
        Block of samples.
    sample_rate_hz
        Its rate in Hz.
    onsets
        Positions in samples.
    room
        Samples to the next candidate.
    partials_hz, powers
        Strongest partials of each candidate, shape (candidates, partials); 0 where there are fewer.
    """
    thin = max(round(sample_rate_hz / _THIN_HZ), 1)
    rate = sample_rate_hz / thin
    n_before, n_after = round(_BEFORE_S * rate), round(_AFTER_S * rate)
    pieces = cut_out(samples, onsets - n_before * thin, (n_before + n_after) * thin)
    slow = pieces.reshape(len(pieces), -1, thin).mean(axis=2)
    t = (np.arange(n_before + n_after) - n_before) / rate
    phase = (partials_hz[:, :, None] * t).astype(np.float32)
    phase -= np.round(phase)
    phase *= np.float32(2.0 * np.pi)
    n_smooth = round(_SMOOTH_S * rate)
    real = uniform_filter1d(slow[:, None, :] * np.cos(phase), n_smooth, axis=2)
    imag = uniform_filter1d(slow[:, None, :] * -np.sin(phase), n_smooth, axis=2)
    tone = (real + 1j * imag) * (powers > 0.0)[:, :, None]
    size = np.abs(tone)
    total = np.sqrt((size * size).sum(axis=1)) + 1e-7
    begin = _begin(tone, partials_hz, n_before, rate, room / sample_rate_hz)
    before = tone[:, :, n_before - round(_NEAR_S[1] * rate) : n_before - round(_NEAR_S[0] * rate)]
    after = tone[:, :, n_before + round(_FAR_S[0] * rate) : n_before + round(_FAR_S[1] * rate)]
    a, b = after.mean(axis=2), before.mean(axis=2)
    change = np.abs(a - b) ** 2 / (np.abs(a) ** 2 + np.abs(b) ** 2 + 1e-14)
    weight = np.sqrt(powers) + 1e-12
    low = total[:, : n_before + 1].min(axis=1)
    high = np.sqrt((np.abs(after) ** 2).sum(axis=1).mean(axis=1)) + 1e-7
    return Tones(
        begin=onsets + np.round((begin - n_before) * thin).astype(np.intp),
        new=(weight * change).sum(axis=1) / weight.sum(axis=1),
        rise_db=20.0 * np.log10(high / low),
        steady=_steadiness(tone, n_before, rate, room / sample_rate_hz),
    )


def _begin(
    tone: npt.NDArray[np.complexfloating],
    partials_hz: FloatArray,
    n_before: int,
    rate: float,
    room_s: FloatArray,
) -> IntArray:
    """Return where steady partials begin: the onset unless another moment fits far better.

    Against the amplitude held later on, what rings on from a neighbouring pitch turns in phase
    and averages out: the change point is where the sum of 2·Re(z·A*) − |A|² starts to grow.
    """
    late, soon = (
        tone[:, :, n_before + round(a * rate) : n_before + round(b * rate)].mean(axis=2)
        for a, b in (_HELD_S, _HELD_SHORT_S)
    )
    steady = np.where(room_s[:, None] > _HELD_S[1] + 0.015, late, soon)[:, :, None]
    # Higher partials turn faster against those of the note before, and so tell more.
    weight = partials_hz[:, :, None] / (np.abs(steady) + 1e-6)
    power = weight * np.abs(steady) ** 2
    # A louder note before counts no more than one as loud: it turns, but slowly where it is near.
    size = np.abs(tone) + 1e-12
    even = tone * np.minimum(_MOST_OVER * np.abs(steady) / size, 1.0)
    match = (2.0 * weight * (even * steady.conj()).real - power).sum(axis=1)
    first, stop = n_before - round(0.050 * rate), n_before + round(0.060 * rate)
    gain = np.cumsum(match[:, stop:first:-1], axis=1)[:, ::-1]
    top = np.argmax(gain, axis=1)
    rows = np.arange(len(tone))
    here = n_before - first
    apart = np.maximum(np.abs(top - here), 1)
    full = power.sum(axis=(1, 2)) * apart + 1e-12
    better = gain[rows, top] - gain[:, here] > _FITS_BETTER * full
    better &= ~_sounds_already(tone, weight * np.abs(steady), n_before, first + top, rate)
    return np.where(better, first + top, n_before)


def _sounds_already(
    tone: npt.NDArray[np.complexfloating],
    held: FloatArray,
    n_before: int,
    begin: IntArray,
    rate: float,
) -> npt.NDArray[np.bool_]:
    """Return whether the partials are up before a later beginning.

    An attack that still glides is; and a string that strikes a fret at once, whose partials are
    thrown about until it clears: together they rose at the onset all the same.
    """
    edge = round(_SMOOTH_S * rate / 2)
    weight = held / (np.abs(held).sum(axis=1, keepdims=True) + 1e-12)
    total = (np.abs(tone) ** 2).sum(axis=1) + 1e-14
    calm = total[:, : n_before - edge].min(axis=1)
    out = np.zeros(len(tone), np.bool_)
    for i, stop in enumerate(begin):
        if stop - n_before <= 2 * edge:
            out[i] = stop > n_before
            continue
        size = np.abs(tone[i, :, n_before + edge : stop - edge]).mean(axis=1)
        later = np.abs(tone[i, :, stop + edge : stop + 3 * edge]).mean(axis=1) + 1e-7
        share = float((weight[i, :, 0] * np.minimum(size / later, 1.0)).sum())
        between = float(total[i, n_before + edge : stop - edge].mean())
        then = float(total[i, stop + edge : stop + 3 * edge].mean())
        rose = between > _UP_RATIO * calm[i] and between > then / _UP_RATIO
        # What stops before the later beginning was the note before.
        stopped = total[i, n_before + edge : stop].min() < then / _UP_RATIO
        out[i] = (share > _UP_ALREADY or rose) and not stopped
    return out


def _steadiness(
    tone: npt.NDArray[np.complexfloating], n_before: int, rate: float, room_s: FloatArray
) -> FloatArray:
    out = np.empty(len(tone))
    start = n_before + round(0.012 * rate)
    for i, one in enumerate(tone):
        stop = n_before + round(min(max(room_s[i] - 0.01, 0.05), _AFTER_S - 0.01) * rate)
        part = one[:, start:stop]
        out[i] = np.abs(part.mean(axis=1)).sum() / (np.abs(part).mean(axis=1).sum() + 1e-9)
    return out
