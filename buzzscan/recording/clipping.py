"""Peaks that were cut off.

Conventions
-----------
Counts are per frame of 10 ms, see `buzzscan.recording.levels`.

Limits
------
Sees flat tops, at full scale or below. Tops that a lossy coder has made wavy again are missed.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from buzzscan.recording.levels import FRAME_S
from buzzscan.recording.take import RecordingWarning

__all__ = ["clipping_warning"]

Counts = npt.NDArray[np.int32]

_LEAST_SAMPLES, _LEAST_FRAMES = 10, 3
_FLAT_SHARE = 0.55
"""Of the samples within 1 % of the ceiling, those within 0.1 %: 0.32 for round peaks."""
_JOIN_FRAMES = 2
"""A low string reaches the ceiling once in two frames."""
_LONG_S = 0.06
"""Buzz is measured from 55 ms after the onset: shorter clipping only hits the attack."""
_SPOILS_SHARE = 0.01


def clipping_warning(near: Counts, flat: Counts, peak_dbfs: float) -> RecordingWarning | None:
    """Return a warning if peaks are cut off.

    Parameters
    ----------
    near, flat
        Samples per frame within 1 % and 0.1 % of the ceiling.
    peak_dbfs
        Where the ceiling is.
    """
    n_flat = int(flat.sum())
    hit = flat > 0
    if n_flat < _LEAST_SAMPLES or int(hit.sum()) < _LEAST_FRAMES:
        return None
    if n_flat < _FLAT_SHARE * int(near.sum()):
        return None
    lengths = _runs(hit)
    long_s = float(lengths[lengths * FRAME_S >= _LONG_S].sum() * FRAME_S)
    spoilt = long_s > _SPOILS_SHARE * len(flat) * FRAME_S
    effect = (
        f"{long_s:.1f} s of it reach past the attacks, where it sounds like buzz"
        if spoilt
        else "only attacks are hit"
    )
    return RecordingWarning(
        code="clipped",
        message=f"peaks are cut off at {peak_dbfs:.1f} dBFS in {len(lengths)} places ({n_flat} "
        f"samples, limit {_LEAST_SAMPLES}); {effect}. Lower the input gain until peaks stay "
        "under -6 dBFS",
        spoils=("buzz_db", "contact") if spoilt else (),
    )


def _runs(hit: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    """Return the lengths in frames of stretches of hits, short gaps joined."""
    at = np.flatnonzero(hit)
    breaks = np.flatnonzero(np.diff(at) > _JOIN_FRAMES)
    first = at[np.r_[0, breaks + 1]]
    last = at[np.r_[breaks, len(at) - 1]]
    return last - first + 1
