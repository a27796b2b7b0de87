"""Short notes as sound that a browser plays from within the page.

Conventions
-----------
MP3, mono, variable bit rate, as a ``data:`` address.

Limits
------
Meant for ears, not for measuring: on a run of plucked notes the coder's own noise lies 30 dB
below the sound up to 5 kHz and 11 dB below it at 5 to 8 kHz.
"""

from __future__ import annotations

import base64
import io
from math import gcd

import numpy as np
import numpy.typing as npt

__all__ = ["at_clip_rate", "clip_rate_hz", "mp3_uri"]

Samples = npt.NDArray[np.float32]

_RATES_HZ = (24000, 22050, 16000, 12000, 11025, 8000)
"""Rates that MP3 knows (ISO/IEC 11172-3 and 13818-3), up to what buzz (0.7–8 kHz) needs."""
_EVEN_FROM_HZ = 16000
"""Lowest rate taken because it divides the recording's evenly."""
_BLOCK = 4096
"""Frames per write: one long write of some formats crashes libsndfile."""
_COMPRESSION = 0.5
"""libsndfile's scale 0–1; about 47 kbit/s at 22.05 kHz. A constant 61 kbit/s takes longer to make
and is coarser below 5 kHz (24 dB)."""


def clip_rate_hz(rate_hz: int) -> int:
    """Return the rate of a clip: one that divides the recording's, else the highest below."""
    for target in _RATES_HZ:
        if rate_hz % target == 0 and target >= _EVEN_FROM_HZ:
            return target
    return next((target for target in _RATES_HZ if target <= rate_hz), _RATES_HZ[-1])


def at_clip_rate(samples: Samples, rate_hz: int) -> tuple[Samples, int]:
    """Return samples at a rate that MP3 knows, and that rate."""
    from scipy.signal import resample_poly

    target = clip_rate_hz(rate_hz)
    if target == rate_hz or not samples.size:
        return samples, target
    common = gcd(target, rate_hz)
    return (
        resample_poly(samples, target // common, rate_hz // common).astype(np.float32),
        target,
    )


def mp3_uri(samples: Samples, rate_hz: int) -> str:
    """Return samples (−1…1) as MP3 in a ``data:`` address."""
    import soundfile

    buffer = io.BytesIO()
    with soundfile.SoundFile(
        buffer,
        "w",
        rate_hz,
        1,
        format="MP3",
        subtype="MPEG_LAYER_III",
        compression_level=_COMPRESSION,
        bitrate_mode="VARIABLE",
    ) as file:
        for start in range(0, samples.size, _BLOCK):
            file.write(samples[start : start + _BLOCK])
    return "data:audio/mpeg;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
