"""Where something may begin: jumps of the short-time spectrum over a whole recording.

Conventions
-----------
A frame is about 46 ms long and hops by a quarter of that; its time is its centre. Bands are a
semitone wide from 300 Hz up, wider below. Levels are in dB re a full-scale sine, floored.

Limits
------
Candidates are many on purpose: squeaks, note ends and talk are told from notes later, by pitch.

References
----------
Spectral flux: Bello et al., "A tutorial on onset detection in music signals", IEEE Trans. Speech
Audio Process. 13 (2005). Bands are not widened against vibrato, as is often done: a chromatic
step moves partials by just one of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import fft
from scipy.ndimage import maximum_filter1d

from buzzscan.recording import Samples

__all__ = ["FrameGrid", "band_levels", "frame_grid", "rises"]

FloatArray = npt.NDArray[np.float32]

_FRAME_S = 0.046
"""Frame length: holds three periods of E2 and still shows notes of 0.15 s apart."""
_LOWEST_HZ, _SEMITONE_FROM_HZ, _HIGHEST_HZ = 50.0, 300.0, 9000.0
_FLOOR_DB = -95.0
"""Below the dither of a 16-bit file, so digital silence has no huge jumps."""
_LAG_FRAMES = 3
"""A jump is measured over this many hops (35 ms): longer than the frame's own smear of an edge."""
_LEAST_RISE_DB = 0.8
"""Mean rise over all bands that makes a candidate. A soft pick over a ringing string gives 2 or
more, the beating of a ringing note less than 1."""
_APART_FRAMES = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameGrid:
    """How a recording is cut into frames.

    Parameters
    ----------
    n_frame, hop
        Samples.
    edges
        First bin of each band, ending with the bin behind the last.
    """

    n_frame: int
    hop: int
    edges: npt.NDArray[np.intp]


@lru_cache(maxsize=16)
def frame_grid(sample_rate_hz: int) -> FrameGrid:
    """Return the frame lengths and bands for a sample rate in Hz."""
    n_frame = 2 ** round(np.log2(_FRAME_S * sample_rate_hz))
    top_hz = min(_HIGHEST_HZ, 0.47 * sample_rate_hz)
    low = np.geomspace(_LOWEST_HZ, _SEMITONE_FROM_HZ, 9)[:-1]
    n_high = round(12 * np.log2(top_hz / _SEMITONE_FROM_HZ))
    high = np.geomspace(_SEMITONE_FROM_HZ, top_hz, n_high + 1)
    bins = np.round(np.concatenate([low, high]) * n_frame / sample_rate_hz).astype(np.intp)
    return FrameGrid(n_frame=n_frame, hop=n_frame // 4, edges=np.unique(np.maximum(bins, 1)))


def band_levels(samples: Samples, grid: FrameGrid) -> FloatArray:
    """Return levels in dB, shape (frames, bands); frame i is centred on sample i · hop."""
    half = grid.n_frame // 2
    padded = np.pad(samples, (half, half))
    frames = np.lib.stride_tricks.sliding_window_view(padded, grid.n_frame)[:: grid.hop]
    window = np.hanning(grid.n_frame + 1)[:-1].astype(np.float32)
    window /= window.sum() / 2.0
    floor = np.float32(10.0 ** (_FLOOR_DB / 10.0))
    out = np.empty((len(frames), len(grid.edges) - 1), np.float32)
    for start in range(0, len(frames), 256):  # 256 frames stay in the cache
        spectrum = fft.rfft(frames[start : start + 256] * window)[:, : grid.edges[-1]]
        power = spectrum.real**2 + spectrum.imag**2
        out[start : start + 256] = np.add.reduceat(power, grid.edges[:-1], axis=1)
    return np.asarray(10.0 * np.log10(out + floor), np.float32)


def rises(levels: FloatArray) -> npt.NDArray[np.intp]:
    """Return the frames at which the spectrum jumps up.

    Parameters
    ----------
    levels
        From `band_levels`.
    """
    rise = np.zeros(len(levels), np.float32)
    if len(levels) > _LAG_FRAMES:
        earlier = np.maximum(levels[:-_LAG_FRAMES], levels[1 : len(levels) - _LAG_FRAMES + 1])
        gain = np.maximum(levels[_LAG_FRAMES:] - earlier, 0.0)
        rise[_LAG_FRAMES:] = gain.mean(axis=1)
    peak = rise == maximum_filter1d(rise, 2 * _APART_FRAMES + 1)
    return np.flatnonzero(peak & (rise > _LEAST_RISE_DB))
