"""Takes values that are no numbers out of blocks of samples.

Conventions
-----------
A gap is bridged by a straight line between the samples beside it.

Limits
------
Some lost samples are mended; a recording with many is refused.
"""

from __future__ import annotations

import numpy as np

from buzzscan.errors import RecordingError
from buzzscan.recording.take import Samples

__all__ = ["Mender"]

_MOST_SHARE = 1e-3
_LOUDEST = 16.0
"""24 dB over full scale: more is whole numbers that were saved as floating point."""


class Mender:
    """Mends blocks and counts what it mended."""

    def __init__(self) -> None:
        self.n_mended = 0
        self._loudest = 0.0

    def mend(self, block: Samples) -> Samples:
        """Return the block with finite samples only, shape (samples, channels)."""
        loudest = float(max(block.max(), -block.min()))
        if np.isfinite(loudest):  # NaN passes through max, infinity too
            self._loudest = max(self._loudest, loudest)
            return block
        mended = block.copy()
        at = np.arange(len(block))
        for channel in mended.T:
            lost = ~np.isfinite(channel)
            self.n_mended += int(lost.sum())
            channel[lost] = 0.0 if lost.all() else np.interp(at[lost], at[~lost], channel[~lost])
        self._loudest = max(self._loudest, float(np.abs(mended).max()))
        return mended

    def check(self, name: str, n_samples: int) -> None:
        """Refuse what cannot be mended.

        Raises
        ------
        RecordingError
            If more than one sample in 1000 is no number, or levels are far over full scale.
        """
        if self.n_mended > _MOST_SHARE * n_samples:
            raise RecordingError(
                f"{name} has {self.n_mended} samples that are no numbers (NaN or infinite) of "
                f"{n_samples}, limit 1 in 1000; export it again as 24-bit WAV"
            )
        if self._loudest > _LOUDEST:
            raise RecordingError(
                f"{name} reaches {self._loudest:.3g} times full scale, limit {_LOUDEST:g}; "
                "export it again as 24-bit WAV"
            )
