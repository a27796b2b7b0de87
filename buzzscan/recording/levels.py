"""Levels of a recording over time, gathered while it is decoded.

Conventions
-----------
Levels are kept for several mixes at once (each channel, and of two channels also their mean and
half difference), because which one is judged is known only at the end. A frame is 10 ms.

Limits
------
Frames are kept for the whole recording: some 20 bytes a frame and mix, 7 MB for an hour of
mono. Up to 10 ms at the very end have no frame.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.recording.take import Samples

__all__ = ["FRAME_S", "LevelTrack", "Levels", "mixes_of"]

FRAME_S = 0.01
"""Length of a frame: far shorter than a note, as long as a period of most."""

_NEAR, _FLAT = 0.01, 0.001
"""Shares of the ceiling below it. A round peak is a parabola and spends 1/sqrt(10) of the
samples within 1 % of its height within 0.1 % of it; a peak that was cut off spends most."""
_NEAR_STEPS, _FLAT_STEPS = 8.0, 0.6
"""The same for coarse formats, in steps of the format."""


def mixes_of(n_channels: int) -> Samples:
    """Return the weights of the mixes that are looked at, shape (mixes, channels)."""
    single = np.eye(n_channels, dtype=np.float32)
    if n_channels != 2:
        return single
    return np.concatenate([single, np.array([[0.5, 0.5], [0.5, -0.5]], np.float32)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of every mix of a recording.

    Parameters
    ----------
    power
        Mean square, shape (frames, mixes).
    peak
        Largest absolute sample, shape (mixes,).
    mean
        Direct current, shape (mixes,).
    near, flat
        Samples per frame within 1 % and within 0.1 % of the recording's ceiling, summed over
        channels and polarities, shape (frames,).
    """

    power: Samples
    peak: Samples
    mean: npt.NDArray[np.float64]
    near: npt.NDArray[np.int32]
    flat: npt.NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class _Ceiling:
    """Highest samples of one polarity of one channel in one block."""

    side: int
    height: float
    first_frame: int
    near: npt.NDArray[np.int32]
    flat: npt.NDArray[np.int32]


class LevelTrack:
    """Gathers `Levels` block by block.

    Parameters
    ----------
    rate_hz
        Sample rate of the blocks.
    n_channels
        Their channels.
    step
        Step between neighbouring values of the format, re full scale.
    """

    def __init__(self, rate_hz: int, n_channels: int, *, step: float) -> None:
        self.frame = max(round(FRAME_S * rate_hz), 1)
        self._mixes = mixes_of(n_channels)
        self._n_channels = n_channels
        self._step = step
        self._power: list[Samples] = []
        self._peak = np.zeros(len(self._mixes), np.float32)
        self._sum = np.zeros(len(self._mixes))
        self._n_samples = 0
        self._n_frames = 0
        self._ceilings: list[_Ceiling] = []

    def add(self, block: Samples) -> None:
        """Take in a block, shape (samples, channels); all but the last hold whole frames."""
        mixed = block.T if self._n_channels == 1 else self._mixes @ block.T
        n_frames = len(block) // self.frame
        self._sum += mixed.sum(axis=1, dtype=np.float64)
        self._n_samples += len(block)
        whole = n_frames * self.frame
        rest = mixed[:, whole:]
        if rest.size:
            self._raise_peak(rest.max(axis=1), rest.min(axis=1))
        if not n_frames:
            return
        framed = mixed[:, :whole].reshape(len(mixed), n_frames, self.frame)
        self._power.append(np.einsum("mfs,mfs->fm", framed, framed) / np.float32(self.frame))
        tops, lows = framed.max(axis=2), framed.min(axis=2)
        self._raise_peak(tops.max(axis=1), lows.min(axis=1))
        for channel in range(self._n_channels):
            self._look_at_tops(framed[channel], tops[channel], lows[channel], 2 * channel)
        self._n_frames += n_frames

    def _raise_peak(self, highest: Samples, lowest: Samples) -> None:
        self._peak = np.maximum(self._peak, np.maximum(highest, -lowest))

    def _look_at_tops(self, framed: Samples, highest: Samples, lowest: Samples, side: int) -> None:
        for sign, tops in ((1, highest), (-1, -lowest)):
            height = float(tops.max())
            near_bar = height - max(_NEAR * height, _NEAR_STEPS * self._step)
            flat_bar = height - max(_FLAT * height, _FLAT_STEPS * self._step)
            if near_bar <= 0.0:
                continue
            high = np.flatnonzero(tops >= near_bar)
            values = framed[high] * sign
            near = np.zeros(len(tops), np.int32)
            flat = np.zeros(len(tops), np.int32)
            near[high] = (values >= near_bar).sum(axis=1)
            flat[high] = (values >= flat_bar).sum(axis=1)
            self._ceilings.append(_Ceiling(side + (sign < 0), height, self._n_frames, near, flat))

    def levels(self) -> Levels:
        """Return the levels of all blocks so far."""
        near = np.zeros(self._n_frames, np.int32)
        flat = np.zeros(self._n_frames, np.int32)
        for side in range(2 * self._n_channels):
            mine = [c for c in self._ceilings if c.side == side]
            height = max((c.height for c in mine), default=0.0)
            bar = height - max(_FLAT * height, _FLAT_STEPS * self._step)
            for c in mine:
                if c.height >= bar:
                    frames = slice(c.first_frame, c.first_frame + len(c.near))
                    near[frames] += c.near
                    flat[frames] += c.flat
        return Levels(
            power=np.concatenate(self._power)
            if self._power
            else np.zeros((0, len(self._mixes)), np.float32),
            peak=self._peak,
            mean=self._sum / max(self._n_samples, 1),
            near=near,
            flat=flat,
        )
