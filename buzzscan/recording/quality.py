"""Judges what about a recording spoils measures.

Conventions
-----------
A warning says what was found, the value, the limit, what it spoils and the next step.

Limits
------
Only what can be told without knowing the notes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.errors import RecordingError
from buzzscan.recording.take import RecordingWarning, Samples, SampleSource
from buzzscan.units import amplitude_to_db, power_to_db

__all__ = ["Heard", "Quality", "judge_quality"]

_SILENT_DBFS = -60.0
_QUIET_PERCENTILE = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What the quality is judged from: levels over time, and the samples.

    Parameters
    ----------
    where
        Path or name, for messages.
    source, n_samples, rate_hz
        Samples of the chosen channel.
    file_rate_hz
        Rate before thinning.
    power
        Mean square of each 10 ms, direct current taken off.
    peak
        Largest absolute sample, direct current taken off.
    offset
        Direct current.
    near, flat
        Samples of each 10 ms near and at the ceiling, see `buzzscan.recording.levels`.
    n_mended
        Samples that were no numbers.
    """

    where: str
    source: SampleSource
    n_samples: int
    rate_hz: int
    file_rate_hz: int
    power: Samples
    peak: float
    offset: float
    near: npt.NDArray[np.int32]
    flat: npt.NDArray[np.int32]
    n_mended: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """Levels and warnings of a recording."""

    peak_dbfs: float
    noise_dbfs: float
    warnings: tuple[RecordingWarning, ...]


def judge_quality(heard: Heard) -> Quality:
    """Return peak, noise and warnings.

    Raises
    ------
    RecordingError
        If the recording is silent.
    """
    peak_dbfs = amplitude_to_db(heard.peak)
    if peak_dbfs < _SILENT_DBFS:
        raise RecordingError(
            f"{heard.where} is silent: peak {peak_dbfs:.1f} dBFS, need {_SILENT_DBFS:.1f}; raise "
            "the input gain"
        )
    levels = power_to_db(heard.power) if len(heard.power) else np.array([peak_dbfs])
    noise_dbfs = float(np.percentile(levels, _QUIET_PERCENTILE))
    return Quality(peak_dbfs=peak_dbfs, noise_dbfs=noise_dbfs, warnings=())
