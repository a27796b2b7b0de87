"""Where the band of a recording ends.

Conventions
-----------
Frequencies in Hz.

Limits
------
Sees steep edges, as coders, telephones and low sample rates make them; not a dark sound.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from buzzscan.recording.survey import Survey
from buzzscan.recording.take import RecordingWarning
from buzzscan.units import power_to_db

__all__ = ["band_edge_hz", "band_warning"]

FloatArray = npt.NDArray[np.float64]

_BAND_NEEDED_HZ = 8000.0
_BUZZ_NEEDED_HZ, _CONTACT_NEEDED_HZ = 4000.0, 2500.0
"""Most of what contact adds lies at 0.7–4 kHz: a telephone's 3.4 kHz misses too much of it to
give its energy, but shows whether there is contact."""
_LOWEST_EDGE_HZ, _SMOOTH_HZ = 1500.0, 150.0
_MOMENTS_ENOUGH = 300
"""For a quantile within half a decibel."""
_STEEP_REACH, _SLOW_REACH = 1.08, 1.3
"""How far over the edge the fall has to be complete: a semitone and a half for a fall of the
sound alone; more where the noise falls with it, which nothing but a filter does."""
_NOISE_STEP_DB, _REST_DB, _SOUND_STEP_DB = 12.0, 6.0, 24.0
"""A step down in the noise, which no string makes, with nothing behind it even in the loudest
moments; or a far larger step in the sound itself."""


def band_edge_hz(short: Survey) -> float:
    """Return the upper edge of the band: of a steep fall, else half the sample rate."""
    thinned = short.power[:: max(len(short.power) // _MOMENTS_ENOUGH, 1)]
    noise, loudest = np.quantile(thinned, [0.2, 0.98], axis=0)
    sound = short.power.mean(axis=0, dtype=np.float64)
    centre_hz, noise_db, above_db = _levels_db(noise, short.bin_hz, _SLOW_REACH)
    _, loudest_db, loudest_above_db = _levels_db(loudest, short.bin_hz, _SLOW_REACH)
    # A lossy coder leaves noise out as well, but lets attacks through: there the band goes on.
    ends = loudest_db - loudest_above_db > _NOISE_STEP_DB
    ends |= loudest_above_db < noise_db + _REST_DB
    noise_fall = noise_db - above_db
    cut = (noise_fall > _NOISE_STEP_DB) & ends
    _, sound_db, sound_above_db = _levels_db(sound, short.bin_hz, _STEEP_REACH)
    n = len(cut)  # the wider reach ends earlier
    # Noise that goes on behind the end of the sound shows that the recording could carry it.
    cut |= (sound_db[:n] - sound_above_db[:n] > _SOUND_STEP_DB) & (noise_fall > _REST_DB)
    cut &= centre_hz >= _LOWEST_EDGE_HZ
    if cut.any():
        return float(centre_hz[np.argmax(cut)])
    return float(short.power.shape[1] * short.bin_hz)


def _levels_db(
    spectrum: FloatArray, bin_hz: float, reach: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return frequencies, levels there, and the highest level behind an edge there."""
    width = max(round(_SMOOTH_HZ / bin_hz), 1)
    smooth = np.convolve(spectrum, np.ones(width) / width, mode="valid")
    level = np.asarray(power_to_db(smooth))
    centre_hz = (np.arange(len(level), dtype=np.float64) + 0.5 * (width - 1)) * bin_hz
    above = np.maximum.accumulate(level[::-1])[::-1]
    behind = np.searchsorted(centre_hz, centre_hz * reach + _SMOOTH_HZ)
    n = int(np.searchsorted(behind, len(level)))
    return centre_hz[:n], level[:n], above[behind[:n]]


def band_warning(edge_hz: float, file_rate_hz: int) -> RecordingWarning | None:
    """Return a warning if the band ends below what measures of buzz need."""
    if edge_hz >= _BAND_NEEDED_HZ * 0.97:
        return None
    spoils: tuple[str, ...] = ()
    effect = "buzz above it is not counted"
    if edge_hz < _CONTACT_NEEDED_HZ:
        spoils, effect = ("buzz_db", "contact"), "buzz is not in it"
    elif edge_hz <= _BUZZ_NEEDED_HZ:
        spoils, effect = ("buzz_db",), "too little of buzz is in it to measure how much"
    if edge_hz >= 0.45 * file_rate_hz:
        found = f"the sample rate of {file_rate_hz} Hz"
        step = "Record at 44100 or 48000 Hz"
    else:
        found = "a telephone, a low-rate coder or a filter"
        step = "Record uncompressed, without effects"
    return RecordingWarning(
        code="dull",
        message=f"the band ends at {edge_hz / 1000:.1f} kHz, need {_BAND_NEEDED_HZ / 1000:.0f} "
        f"({found}); {effect}. {step}",
        spoils=spoils,
    )
