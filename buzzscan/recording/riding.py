"""Gain that was changed while recording: automatic gain, compressors, gates.

Conventions
-----------
Levels in dB re full scale.

Limits
------
Gain-riding shows by the noise it moves: where the noise is lost under the notes, or was
taken out by a lossy coder, it is not seen.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from buzzscan.recording.survey import Survey
from buzzscan.recording.take import RecordingWarning, Samples
from buzzscan.units import power_to_db

__all__ = ["gate_warning", "riding_warning"]

_BANDS_HZ = (
    (4000.0, 6000.0),
    (6000.0, 8000.0),
    (8000.0, 12000.0),
    (12000.0, 15500.0),
    (15500.0, 19000.0),
)
"""Above most of a string's sound, so that noise shows between its partials."""
_LOUD_QUANTILE, _QUIET_QUANTILE = 0.6, 0.1
_LEAST_MOMENTS = 100
_RIDING_DB = 3.0
"""Noise adds to notes: it cannot be lower under them than between them, except for the error
of its estimate (0.8 dB at most over takes with constant gain) and hum that goes when strings
are touched, which has little up here."""
_HOLES_DB = -10.5
"""Weakest tenth of a band's bins re the median, in the most uneven tenth of the loud moments. Of
noise it is −8.2 dB (power is distributed exponentially) with an error of a decibel; partials in
the band lower it, and so do the holes that a lossy coder leaves where sound is masked."""

_GATE_FALL_DB, _GATE_FLOOR_DB, _GATE_FRAMES = 40.0, -115.0, 2
"""A gate falls to digital silence within 20 ms; a damped string takes longer."""
_GATE_OPEN_FRAMES = 15
"""What was open for less was no note: clicks that count in stand between silences of their own."""
_LEAST_CLOSINGS = 5


def riding_warning(short: Survey) -> RecordingWarning | None:
    """Return a warning if the noise is lower under the notes than between them."""
    if len(short.power) < _LEAST_MOMENTS:
        return None
    loud = short.level_db > np.quantile(short.level_db, _LOUD_QUANTILE)
    quiet = short.level_db <= np.quantile(short.level_db, _QUIET_QUANTILE)
    top_hz = 0.9 * short.power.shape[1] * short.bin_hz
    rises = []
    for low_hz, high_hz in (band for band in _BANDS_HZ if band[1] <= top_hz):
        if _holes_db(short.power[loud, short.bins(low_hz, high_hz)]) < _HOLES_DB:
            continue  # something else than noise is in this band
        noise_db = short.noise_db(low_hz, high_hz)
        under = np.quantile(noise_db[loud], 0.05)
        rises.append(float(np.quantile(noise_db[quiet], 0.2) - under))
    if not rises or np.median(rises) < _RIDING_DB:
        return None
    return RecordingWarning(
        code="gain-riding",
        message=f"the noise is {np.median(rises):.1f} dB lower under notes than between them, "
        f"limit {_RIDING_DB:.0f}: the gain was changed while recording (automatic gain or a "
        "compressor); decay is not what the string did. Switch it off and record again",
        spoils=("decay_db_per_s",),
    )


def _holes_db(power: Samples) -> float:
    """Return how far the weakest bins lie under the median, of moments by bins."""
    weak, middle = np.quantile(power, [0.1, 0.5], axis=1)
    return float(np.quantile(power_to_db(weak) - power_to_db(middle), 0.1))


def gate_warning(frame_power: Samples, loud_db: float) -> RecordingWarning | None:
    """Return a warning if the sound is cut to digital silence between notes.

    Parameters
    ----------
    frame_power
        Mean square of each 10 ms.
    loud_db
        Level of the notes.
    """
    level = np.asarray(power_to_db(frame_power))
    closings = _closings_db(level)
    if len(closings) < _LEAST_CLOSINGS:
        return None
    closes_db = float(np.median(closings))
    return RecordingWarning(
        code="gated",
        message=f"the sound is cut to digital silence {len(closings)} times, at "
        f"{closes_db:.0f} dBFS, {loud_db - closes_db:.0f} dB under the notes, limit "
        f"{_LEAST_CLOSINGS}; the ends of notes are lost, and decay is told from what is left of "
        "them. Switch the gate or noise reduction off",
    )


def _closings_db(level: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the level before each sudden fall into digital silence."""
    if len(level) < 2 * _GATE_FRAMES + 1:
        return np.zeros(0)
    silent = level <= _GATE_FLOOR_DB
    # First silent frame of each silence that lasts at least as long as the fall may take.
    starts = np.flatnonzero(silent[1:-1] & ~silent[:-2] & silent[2:]) + 1
    starts = starts[starts > _GATE_OPEN_FRAMES]
    open_before = starts[:, None] - np.arange(1, _GATE_OPEN_FRAMES + 1)
    starts = starts[~silent[open_before].any(axis=1)]
    before: npt.NDArray[np.float64] = level[starts - _GATE_FRAMES]
    return before[before > _GATE_FLOOR_DB + _GATE_FALL_DB]
