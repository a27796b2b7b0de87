"""Noise between the notes, and hum of the mains.

Conventions
-----------
Levels in dB re full scale.

Limits
------
Without pauses between notes the noise is taken from between the partials of the quietest
moments, which cannot see noise at frequencies where partials always are.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from buzzscan.recording.survey import Survey
from buzzscan.recording.take import RecordingWarning, Samples
from buzzscan.units import power_to_db

__all__ = [
    "Hum",
    "find_hum",
    "hiss_level_db",
    "hum_warning",
    "noise_level_db",
    "noise_warning",
]

_QUIET_PERCENTILE = 5.0
_QUIET_QUANTILE = 0.1
BUZZ_BAND_EDGES_HZ = (1000.0, 2000.0, 4000.0, 8000.0)
"""Where most of what contact adds is; below, partials of low strings leave no gaps."""
_OCTAVE_EDGES_HZ = (30.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 25000.0)

_MAINS_HZ = (50.0, 60.0)
_N_LINES, _LEAST_LINES = 12, 3
_LINE_OVER_DB = 15.0
"""A line has to stand this far over what is beside it; steady noise alone stays under 6."""
_STEADY_QUANTILE = 0.15
"""Hum is there at least 85 % of the time, which no note of a run is."""
_BESIDE_HZ = 20.0
_LINE_WIDTH = 1.5
"""Bins of a Hann peak's power re its highest bin."""

_NOISE_LIMIT_DB, _NOISE_SPOILS_DB = 30.0, 15.0
"""Range of the notes over the noise at 1–8 kHz. Slight buzz lies some 35 dB under a note: with
less than 30 it is hidden, and under 15 strong buzz is too."""
_HUM_LIMIT_DB = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hum:
    """Hum of the mains: its frequency, and the level of all its lines together."""

    mains_hz: float
    level_db: float


def noise_level_db(frame_power: Samples, short: Survey, hum: Hum | None) -> float:
    """Return the level between notes.

    Parameters
    ----------
    frame_power
        Mean square of each 10 ms.
    short
        Moments over the recording.
    hum
        Hum that was found.
    """
    quiet_db = float(np.percentile(power_to_db(frame_power), _QUIET_PERCENTILE))
    between: float = 10.0 ** (hiss_level_db(short, _OCTAVE_EDGES_HZ) / 10.0)
    if hum is not None:
        between += 10.0 ** (hum.level_db / 10.0)
    return min(quiet_db, power_to_db(between))


def hiss_level_db(short: Survey, edges_hz: tuple[float, ...] = BUZZ_BAND_EDGES_HZ) -> float:
    """Return the level that lies between partials in the quietest moments of each band."""
    top_hz = float(short.power.shape[1] * short.bin_hz)
    edges = [*(e for e in edges_hz if e < top_hz), min(edges_hz[-1], top_hz)]
    total: float = 0.0
    for low, high in pairwise(sorted(set(edges))):
        per_bin_db = float(np.quantile(short.noise_db(low, high), _QUIET_QUANTILE))
        total += 10.0 ** (per_bin_db / 10.0) * (high - low) / short.bin_hz
    return float(power_to_db(total))


def find_hum(long: Survey) -> Hum | None:
    """Return the hum of 50 or 60 Hz mains, or None if there is none."""
    top = long.bins(0.0, _MAINS_HZ[-1] * _N_LINES + 2.0 * _BESIDE_HZ)
    steady = np.quantile(long.power[:, top], _STEADY_QUANTILE, axis=0)
    best: Hum | None = None
    beside = round(_BESIDE_HZ / long.bin_hz)
    if beside < 6 or len(long.power) < 8:  # too short to tell a line from a note
        return None
    for mains_hz in _MAINS_HZ:
        power, n_lines = 0.0, 0
        for k in range(1, _N_LINES + 1):
            at = round(k * mains_hz / long.bin_hz)
            if at + beside >= len(steady):
                break
            line = float(steady[at - 1 : at + 2].max())
            around = np.r_[steady[at - beside : at - 3], steady[at + 4 : at + beside + 1]]
            if line > 10.0 ** (_LINE_OVER_DB / 10.0) * max(float(np.median(around)), 1e-20):
                power += _LINE_WIDTH * line
                n_lines += 1
        if n_lines >= _LEAST_LINES:
            level_db = power_to_db(power)
            if best is None or level_db > best.level_db:
                best = Hum(mains_hz=mains_hz, level_db=level_db)
    return best


def noise_warning(loud_db: float, hiss_db: float) -> RecordingWarning | None:
    """Return a warning if notes stand too little over the noise."""
    range_db = loud_db - hiss_db
    if range_db >= _NOISE_LIMIT_DB:
        return None
    spoilt = range_db < _NOISE_SPOILS_DB
    effect = "buzz cannot be told from it" if spoilt else "slight buzz is hidden by it"
    return RecordingWarning(
        code="noisy",
        message=f"noise at 1-8 kHz is {hiss_db:.1f} dBFS, only {range_db:.0f} dB under the notes, "
        f"need {_NOISE_LIMIT_DB:.0f}; {effect}. Record closer or by cable, in a quieter room",
        spoils=("buzz_db", "contact") if spoilt else (),
    )


def hum_warning(loud_db: float, hum: Hum | None) -> RecordingWarning | None:
    """Return a warning if hum is loud against the notes."""
    if hum is None or loud_db - hum.level_db >= _HUM_LIMIT_DB:
        return None
    return RecordingWarning(
        code="hum",
        message=f"hum of {hum.mains_hz:.0f} Hz mains at {hum.level_db:.1f} dBFS is only "
        f"{loud_db - hum.level_db:.0f} dB under the notes, need {_HUM_LIMIT_DB:.0f}; notes near "
        f"{2 * hum.mains_hz:.0f} Hz decay into it. Turn the guitar, move from transformers and "
        "lamps",
    )
