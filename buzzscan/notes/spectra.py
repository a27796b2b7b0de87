"""Spectra just after and just before each candidate, and how well each pitch explains them.

Conventions
-----------
`Spectra.after` and `.before` are power, 0 dB for a full-scale sine, of windows of one length
per candidate. Scores run over `PITCHES_HZ`, 12.5 cents apart; 1 is the best pitch of a candidate.

Limits
------
A score tells pitches apart by the partials they would have; octaves are near each other on
purpose and are settled by the way of the run.

References
----------
Weights that fall as 1/sqrt(h) and count what lies between the partials against a pitch follow
Camacho & Harris, "A sawtooth waveform inspired pitch estimator", JASA 124 (2008).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import fft
from scipy.ndimage import uniform_filter1d

from buzzscan.notes.attack import cut_out
from buzzscan.recording import Samples

__all__ = ["PITCHES_HZ", "Spectra", "pitch_scores", "spectra_around"]

FloatArray = npt.NDArray[np.float32]

_PER_OCTAVE = 96
_LOWEST_HZ = 24.0
"""Below the B0 of a five-string bass, a whole tone spare."""
_PITCH_OCTAVES = 6.5
"""Up to 2.2 kHz: fret 24 of a string tuned to A4 and more."""
PITCHES_HZ: npt.NDArray[np.float64] = _LOWEST_HZ * 2.0 ** (
    np.arange(round(_PITCH_OCTAVES * _PER_OCTAVE)) / _PER_OCTAVE
)
"""Pitches that are scored, in Hz."""

_SKIP_S = 0.006
"""Left out after the onset: the pick's noise."""
_GUARD_S = 0.003
_WINDOWS_S = (0.07, 0.09, 0.115, 0.15, 0.2, 0.27, 0.35)
"""Lengths of window; each candidate takes the longest that ends before the next."""
_FFT_S = 0.37
_TOP_HZ = 7000.0
_N_PARTIALS = 14
_STRETCHES = (1e-5, 3e-4, 1.2e-3, 5e-3)
"""Inharmonicities tried: a thin plain string low on the neck to a stiff bass string."""
_KEEP_RINGING = 0.05
"""Share of the power kept where the spectrum did not rise: a note picked again on the same fret
rises little."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectra:
    """Power spectra around candidates.

    Parameters
    ----------
    after, before
        Shape (candidates, bins).
    bin_hz
        Width of a bin.
    window_s
        Length of window of each candidate.
    """

    after: FloatArray
    before: FloatArray
    bin_hz: float
    window_s: npt.NDArray[np.float64]


def spectra_around(
    samples: Samples,
    sample_rate_hz: int,
    onsets: npt.NDArray[np.intp],
    room: npt.NDArray[np.intp],
) -> Spectra:
    """Return power spectra after and before each onset.

    Parameters
    ----------
    samples
        Block of samples.
    sample_rate_hz
        Its rate in Hz.
    onsets
        Positions in samples.
    room
        Samples to the next candidate.
    """
    n_fft = fft.next_fast_len(round(_FFT_S * sample_rate_hz), real=True)
    bin_hz = sample_rate_hz / n_fft
    n_bins = min(round(_TOP_HZ / bin_hz) + 1, n_fft // 2)
    skip, guard = round(_SKIP_S * sample_rate_hz), round(_GUARD_S * sample_rate_hz)
    lengths = np.array([round(w * sample_rate_hz) for w in _WINDOWS_S])
    fits = np.searchsorted(lengths, room - skip - guard, side="right") - 1
    choice = np.maximum(fits, 0)
    after = np.empty((len(onsets), n_bins), np.float32)
    before = np.empty_like(after)
    for k in np.unique(choice):
        rows = np.flatnonzero(choice == k)
        length = int(lengths[k])
        window = np.hanning(length + 2)[1:-1].astype(np.float32)
        window /= window.sum() / 2.0
        for out, starts in (
            (after, onsets[rows] + skip),
            (before, onsets[rows] - guard - length),
        ):
            spectrum = fft.rfft(cut_out(samples, starts, length) * window, n_fft)[:, :n_bins]
            out[rows] = spectrum.real**2 + spectrum.imag**2
    return Spectra(
        after=after, before=before, bin_hz=bin_hz, window_s=lengths[choice] / sample_rate_hz
    )


@lru_cache(maxsize=8)
def _pooling(n_bins: int, bin_hz: float) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.intp]]:
    """Return the centre of each log-spaced bin in linear bins, and the pooled bins' edges."""
    octaves = np.log2(n_bins * bin_hz / (_LOWEST_HZ / 2.0)) - 0.02
    centre = _LOWEST_HZ / 2.0 * 2.0 ** (np.arange(int(octaves * _PER_OCTAVE)) / _PER_OCTAVE)
    half = 2.0 ** (0.5 / _PER_OCTAVE)
    edges = np.round(np.append(centre / half, centre[-1] * half) / bin_hz).astype(np.intp)
    return centre / bin_hz, edges


def _log_spectrum(spectra: Spectra) -> FloatArray:
    """Return what rose at the onset, compressed, over log frequency from half the lowest pitch."""
    rise = np.maximum(spectra.after - spectra.before, _KEEP_RINGING * spectra.after)
    root = np.sqrt(np.sqrt(rise))
    centre, edges = _pooling(root.shape[1], spectra.bin_hz)
    low = np.floor(centre).astype(np.intp)
    part = (centre - low).astype(np.float32)
    pooled = root[:, low] * (1.0 - part) + root[:, low + 1] * part
    wide = edges[1:] - edges[:-1] > 1
    first = int(np.argmax(wide)) if wide.any() else len(wide)
    if first < len(wide):
        peaks = np.maximum.reduceat(root, edges[first:-1], axis=1)
        pooled[:, first:] = np.maximum(pooled[:, first:], peaks)
    local = uniform_filter1d(pooled, _PER_OCTAVE // 2 + 1, axis=1)
    return np.asarray(np.maximum(pooled - local, 0.0), np.float32)


def pitch_scores(spectra: Spectra) -> FloatArray:
    """Return how well each of `PITCHES_HZ` explains each candidate, 1 for its best.

    Returns
    -------
    ndarray, shape (candidates, pitches)
        At most 1; below 0 where the pitch predicts what is not there.
    """
    logs = _log_spectrum(spectra)
    logs /= np.maximum(np.sqrt((logs * logs).mean(axis=1, keepdims=True)), 1e-12)
    best = np.full((len(logs), len(PITCHES_HZ)), -np.inf, np.float32)
    for b in _STRETCHES:
        score = np.zeros_like(best)
        for h in range(1, _N_PARTIALS + 1):
            weight = np.float32(h**-0.5)
            stretch = 0.5 * np.log2(1.0 + b * h * h)
            _add(score, logs, np.log2(h) + stretch, weight)
            _add(score, logs, np.log2(h - 0.5) + stretch, -weight * 0.5)
        for part in (1 / 3, 2 / 3):
            _add(score, logs, np.log2(part), np.float32(-0.35))
        best = np.maximum(best, score)
    return np.asarray(best / np.maximum(best.max(axis=1, keepdims=True), 1e-9), np.float32)


def _add(score: FloatArray, logs: FloatArray, octaves: float, weight: np.float32) -> None:
    start = _PER_OCTAVE + round(octaves * _PER_OCTAVE)
    if start < 0:
        score[:, -start:] += weight * logs[:, : score.shape[1] + start]
        return
    n = min(score.shape[1], logs.shape[1] - start)
    if n > 0:
        score[:, :n] += weight * logs[:, start : start + n]
