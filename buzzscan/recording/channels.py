"""Chooses which channel, or mix of channels, is listened to.

Conventions
-----------
Mixes are those of `buzzscan.recording.levels.mixes_of`.

Limits
------
The choice holds for the whole recording.
"""

from __future__ import annotations

import numpy as np

from buzzscan.recording.levels import Levels
from buzzscan.recording.take import RecordingWarning
from buzzscan.units import power_to_db

__all__ = ["choose_mix"]

_DEAD_UNDER_DB = 40.0
"""A channel this far under the other carries crosstalk and noise."""
_INVERTED_UNDER, _ALIKE_OVER = -0.5, 0.3
"""Correlation of two channels: under the first one is inverted; between the two they are
different sounds, and a mix would be neither."""


def choose_mix(levels: Levels, n_channels: int) -> tuple[int, tuple[RecordingWarning, ...]]:
    """Return the index of the mix to listen to, and what is to be said about it."""
    if n_channels == 1:
        return 0, ()
    frames = levels.power.astype(np.float64) - np.minimum(levels.mean**2, levels.power)
    power = frames.mean(axis=0) if len(frames) else np.asarray(levels.peak, np.float64) ** 2
    loud_db = power_to_db(power)
    best = int(np.argmax(loud_db[:n_channels]))
    if n_channels > 2:
        return best, (_message(f"{n_channels} channels", best, "the loudest"),)
    under_db = float(loud_db[best] - loud_db[1 - best])
    if under_db > _DEAD_UNDER_DB:
        found = f"channel {2 - best} is dead ({under_db:.0f} dB under the other)"
        return best, (_message(found, best, "the other"),)
    # Powers of mean and half difference differ by the covariance.
    alike = float((power[2] - power[3]) / np.sqrt(max(power[0] * power[1], 1e-30)))
    if alike > _ALIKE_OVER:
        return 2, ()
    if alike < _INVERTED_UNDER:
        text = (
            f"the channels are inverted to each other (correlation {alike:.2f}); one was turned "
            "round. Check the plug or the phase switch; no measure is spoiled"
        )
        return 3, (RecordingWarning(code="inverted-channel", message=text),)
    best = _clearer(frames[:, :2])
    found = f"the channels hold different sounds (correlation {alike:.2f})"
    return best, (_message(found, best, "the clearer one"),)


def _clearer(frames: np.typing.NDArray[np.float64]) -> int:
    """Return the channel with the larger range between loud and quiet moments."""
    if not len(frames):
        return 0
    high, low = np.percentile(power_to_db(frames), [95, 5], axis=0)
    return int(np.argmax(high - low))


def _message(found: str, channel: int, why: str) -> RecordingWarning:
    return RecordingWarning(
        code="one-channel",
        message=f"{found}; only channel {channel + 1} was listened to, {why}. If the guitar is "
        "on another, export that one as a mono file; no measure is spoiled",
    )
