"""What a recording sounds like while no string is played.

Conventions
-----------
A density is mean square per Hz, one-sided, so that it sums to the power of the samples.

Limits
------
Noise is taken to be the same all through a recording. Where a run leaves no silence, the
quietest moments at the ends of notes are taken, which hold some of the notes themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft

from buzzscan.notes.note import Note
from buzzscan.recording import Recording

__all__ = ["NoiseFloor", "measure_noise_floor"]

FloatArray = npt.NDArray[np.floating[Any]]

_FRAME_S = 0.09
"""Long enough to part the harmonics of hum (50 Hz)."""
_MARGIN_S = 0.06
"""Room for a boundary that is late or early, and for what the pick does before the onset."""
_MOST_FRAMES = 64
_FEW_FRAMES = 4
_QUANTILE = 0.3
"""Talk, squeaks and ringing strings may fill most of the silence between notes."""
_EXPONENTIAL = -float(np.log1p(-_QUANTILE))
"""That quantile of one bin of noise, over its mean (a bin's power is exponential)."""
_LEAST_DENSITY = 1e-15
"""−112 dBFS over the hearing range: below the noise of any converter, above digital silence."""


@dataclass(frozen=True, slots=True)
class NoiseFloor:
    """Density of the noise over frequency.

    Parameters
    ----------
    frequencies_hz, densities
        Shape (bins,).
    """

    frequencies_hz: FloatArray
    densities: FloatArray

    def at(self, frequencies_hz: FloatArray) -> FloatArray:
        """Return the density at each frequency, mean square per Hz."""
        return np.asarray(np.interp(frequencies_hz, self.frequencies_hz, self.densities))


def measure_noise_floor(recording: Recording, notes: Sequence[Note]) -> NoiseFloor:
    """Return the density of a recording's noise.

    Parameters
    ----------
    recording
        The take.
    notes
        Its notes, in order of time.
    """
    rate = recording.sample_rate_hz
    n = fft.next_fast_len(round(_FRAME_S * rate), real=True)
    starts = _silent_frames(recording, notes, n)
    if len(starts) < _FEW_FRAMES:
        margin = round(0.02 * rate)
        starts = starts + [round(note.end_s * rate) - margin - n for note in notes]
    step = max(1, len(starts) // _MOST_FRAMES)
    frames = [recording.read(max(s, 0), max(s, 0) + n) for s in starts[::step]]
    frames = [frame for frame in frames if frame.size == n]
    frequencies = np.arange(n // 2 + 1) * (rate / n)
    if not frames:
        return NoiseFloor(frequencies, np.full(n // 2 + 1, _LEAST_DENSITY))
    window = np.hanning(n).astype(np.float32)
    power = np.abs(fft.rfft(np.stack(frames) * window, axis=1)) ** 2
    quiet = np.quantile(power, _QUANTILE, axis=0) / _EXPONENTIAL
    density = quiet * 2.0 / (rate * float(np.sum(window.astype(np.float64) ** 2)))
    return NoiseFloor(frequencies, np.maximum(density, _LEAST_DENSITY))


def _silent_frames(recording: Recording, notes: Sequence[Note], n: int) -> list[int]:
    """Return where frames of `n` samples fit that no note reaches into."""
    rate = recording.sample_rate_hz
    margin = round(_MARGIN_S * rate)
    onsets = [round(note.onset_s * rate) for note in notes]
    ends = [round(note.end_s * rate) for note in notes]
    starts: list[int] = []
    reached = 0
    for onset, end in zip([*onsets, recording.n_samples], [*ends, 0], strict=True):
        starts.extend(range(reached + margin, onset - margin - n, n // 2))
        reached = max(reached, end)
    return starts
