"""Judges what about a recording spoils measures.

Conventions
-----------
A warning says what was found, the value, the limit, what it spoils and the next step. Only
what is really spoiled is named in `RecordingWarning.spoils`.

Limits
------
Only what can be told without knowing the notes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.errors import RecordingError
from buzzscan.recording.bandwidth import band_edge_hz, band_warning
from buzzscan.recording.clipping import clipping_warning
from buzzscan.recording.noise import (
    find_hum,
    hiss_level_db,
    hum_warning,
    noise_level_db,
    noise_warning,
)
from buzzscan.recording.riding import gate_warning, riding_warning
from buzzscan.recording.survey import survey_long, survey_short
from buzzscan.recording.take import RecordingWarning, Samples, SampleSource
from buzzscan.units import FLOOR_DB, amplitude_to_db, power_to_db

__all__ = ["Heard", "Quality", "judge_quality"]

SILENT_DBFS = -60.0
_LOW_DBFS = -36.0
"""Six bits unused of 16: what is 60 dB under the notes is lost in the steps."""
_LOUD_PERCENTILE = 95.0
_OFFSET_LIMIT = 0.01
_COARSE_STEP = 2.0**-9
"""With coarser steps (8 bits) the noise is made by the steps and moves with the notes."""


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
        Largest absolute sample.
    offset
        Direct current.
    near, flat
        Samples of each 10 ms near and at the ceiling, see `buzzscan.recording.levels`.
    n_mended
        Samples that were no numbers.
    step
        Step between neighbouring values of the format.
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
    step: float


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
    loud_db = float(np.percentile(power_to_db(heard.power), _LOUD_PERCENTILE))
    sounding_dbfs = amplitude_to_db(max(heard.peak - abs(heard.offset), 0.0))
    if heard.peak == 0.0:
        raise RecordingError(
            f"{heard.where} holds digital silence and nothing else; check the input and its gain, "
            "and record again"
        )
    if sounding_dbfs < SILENT_DBFS:
        level = "nothing" if sounding_dbfs <= FLOOR_DB else f"peak {sounding_dbfs:.1f} dBFS"
        direct = abs(heard.offset) > 0.5 * heard.peak
        but = f" beside direct current of {100.0 * heard.offset:+.1f} %" if direct else ""
        raise RecordingError(
            f"{heard.where} is silent: {level}{but}, need {SILENT_DBFS:.1f} dBFS; raise the input "
            "gain"
        )
    short = survey_short(heard.source, heard.n_samples, heard.rate_hz)
    hum = find_hum(survey_long(heard.source, heard.n_samples, heard.rate_hz))
    noise_dbfs = noise_level_db(heard.power, short, hum)
    found = (
        _mended_warning(heard.n_mended),
        _offset_warning(heard.offset),
        clipping_warning(heard.near, heard.flat, peak_dbfs),
        riding_warning(short) if heard.step < _COARSE_STEP else None,
        gate_warning(heard.power, loud_db),
        band_warning(band_edge_hz(short), heard.file_rate_hz),
        _low_warning(peak_dbfs),
        noise_warning(loud_db, hiss_level_db(short)),
        hum_warning(loud_db, hum),
    )
    return Quality(
        peak_dbfs=peak_dbfs,
        noise_dbfs=noise_dbfs,
        warnings=tuple(warning for warning in found if warning is not None),
    )


def _mended_warning(n_mended: int) -> RecordingWarning | None:
    if not n_mended:
        return None
    return RecordingWarning(
        code="mended",
        message=f"{n_mended} samples were no numbers (NaN or infinite) and were bridged; notes "
        "there may seem to buzz. Export the recording again",
    )


def _offset_warning(offset: float) -> RecordingWarning | None:
    if abs(offset) < _OFFSET_LIMIT:
        return None
    return RecordingWarning(
        code="offset",
        message=f"direct current of {100 * offset:+.1f} % of full scale was taken off, limit "
        f"{100 * _OFFSET_LIMIT:.0f}; no measure is spoiled. Have the input checked",
    )


def _low_warning(peak_dbfs: float) -> RecordingWarning | None:
    if peak_dbfs >= _LOW_DBFS:
        return None
    return RecordingWarning(
        code="low-level",
        message=f"the highest peak is {peak_dbfs:.1f} dBFS, need {_LOW_DBFS:.0f}; quiet parts of "
        "notes may be lost. Raise the input gain until peaks reach -12 to -6 dBFS",
    )
