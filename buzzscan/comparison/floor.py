"""Level of what is heard before the first note: the noise that a change of gain moves along.

Conventions
-----------
Two bands, apart from the low lines of the mains and from each other. Levels in dBFS.

Limits
------
Needs a fifth of a second before the first note, and the sound file. Between the notes of a run
nothing is sure to be noise: the tails of the notes lie there, and they grow with the pick.
"""

from __future__ import annotations

import math

import numpy as np

from buzzscan.errors import BuzzscanError
from buzzscan.recording import Recording
from buzzscan.scanning import Scan
from buzzscan.units import power_to_db

__all__ = ["BANDS_HZ", "Bands", "lead_in_dbfs"]

Bands = tuple[float | None, float | None]

BANDS_HZ = ((250.0, 900.0), (1500.0, 6000.0))
MARGIN_S = 0.1
"""Before an onset: pick and finger touch the string."""
LONGEST_S, SHORTEST_S = 3.0, 0.2
FRAME_S = 0.04
QUANTILE = 0.25
"""Of the frames: a word or a rustle before the first note is passed over."""
STEP_16_BIT_DBFS = -101.1
"""Noise of rounding to 16 bits: one step, 2/65536, over the square root of 12."""
OVER_STEP_DB = 6.0
"""Nearer than this, rounding is a good part of the level, and it does not move with the gain."""


def lead_in_dbfs(scan: Scan) -> dict[int, Bands]:
    """Return the level of the noise before the first note of each recording that has notes.

    Parameters
    ----------
    scan
        Whose notes say where its recordings begin to sound.

    Returns
    -------
    dict
        By index of the recording, one level per band of `BANDS_HZ` in dBFS, None where no noise
        is heard.
    """
    onsets: dict[int, float] = {}
    for measured in scan.notes:
        index = measured.note.recording
        onsets[index] = min(onsets.get(index, math.inf), measured.note.onset_s)
    return {i: _bands_of(scan.recordings[i], onset_s) for i, onset_s in sorted(onsets.items())}


def _bands_of(recording: Recording, onset_s: float) -> Bands:
    nothing = (None, None)
    rate = recording.sample_rate_hz
    stop = round((onset_s - MARGIN_S) * rate)
    start = max(stop - round(LONGEST_S * rate), 0)
    length = round(FRAME_S * rate)
    if stop - start < SHORTEST_S * rate:
        return nothing
    try:
        samples = recording.read(start, stop)
    except BuzzscanError:  # the sound file was moved
        return nothing
    n = len(samples) // length
    if n < 1:
        return nothing
    frames = np.asarray(samples[: n * length], np.float64).reshape(n, length)
    window = np.hanning(length)
    spectrum = np.abs(np.fft.rfft(frames * window, axis=1)) ** 2
    power = 2.0 * spectrum / (length * float((window**2).sum()))
    frequency = np.fft.rfftfreq(length, 1.0 / rate)
    levels: list[float | None] = []
    for low_hz, high_hz in BANDS_HZ:
        inside = (frequency >= low_hz) & (frequency < high_hz)
        if not inside.any():
            levels.append(None)
            continue
        level = power_to_db(float(np.quantile(power[:, inside].sum(axis=1), QUANTILE)))
        rounding = STEP_16_BIT_DBFS + power_to_db((high_hz - low_hz) / (0.5 * rate))
        levels.append(level if level > rounding + OVER_STEP_DB else None)
    return levels[0], levels[1]
