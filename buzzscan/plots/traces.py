"""What a note looks like: its outline, its spectrogram and the fall of its first partial.

Conventions
-----------
All functions take mono samples (float32, −1…1) and return small arrays that are ready to be
drawn. They show samples; they measure nothing that is reported as a number.

Limits
------
Notes up to a few seconds. Levels are clipped to the range of the picture.
"""

from __future__ import annotations

import base64
import struct
import zlib
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import fft as sp_fft

__all__ = ["SHADES", "outline", "partial_level_db", "png_uri", "shaded", "spectrogram"]

Samples = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float32]

SPECTROGRAM_LOW_HZ = 80.0
SPECTROGRAM_HIGH_HZ = 8000.0
"""From below the lowest guitar string to the top of the range in which buzz is measured."""
SPECTROGRAM_RANGE_DB = 60.0
"""Range from the darkest to the lightest step: about what a room recording holds."""
_WINDOW_S = 0.046
"""Window of the spectrogram: tells partials of the low E string (82 Hz) apart."""


def outline(samples: Samples, *, n_columns: int) -> FloatArray:
    """Return the lowest and highest sample of each of `n_columns` equal stretches.

    Returns
    -------
    ndarray, shape (n_columns, 2)
        Lowest and highest value, −1…1; zeros where there are fewer samples than columns.
    """
    if samples.size < n_columns:
        samples = np.pad(samples, (0, n_columns - samples.size))
    edges = np.linspace(0, samples.size, n_columns + 1).astype(np.intp)[:-1]
    return np.stack(
        [np.minimum.reduceat(samples, edges), np.maximum.reduceat(samples, edges)], axis=1
    )


@lru_cache(maxsize=8)
def _bands(n_rows: int, n_fft: int, rate_hz: float) -> tuple[npt.NDArray[np.intp], ...]:
    """First and last bin of each row, rows evenly spaced in log frequency."""
    edges_hz = np.geomspace(SPECTROGRAM_LOW_HZ, SPECTROGRAM_HIGH_HZ, n_rows + 1)
    n_bins = n_fft // 2 + 1  # rows above half the sample rate stay empty
    first = np.minimum(np.floor(edges_hz[:-1] * n_fft / rate_hz + 0.5), n_bins).astype(np.intp)
    last = np.floor(edges_hz[1:] * n_fft / rate_hz + 0.5).astype(np.intp)
    last = np.minimum(np.maximum(last, first + 1), n_bins)
    return first, last


def spectrogram(
    samples: Samples, *, rate_hz: float, length_s: float, n_columns: int, n_rows: int
) -> FloatArray:
    """Return levels over time and log frequency, in dB re the loudest cell.

    Parameters
    ----------
    samples
        The note.
    rate_hz
        Its sample rate.
    length_s
        Time that the picture's width stands for; what lies beyond the note is empty.
    n_columns, n_rows
        Size of the picture.

    Returns
    -------
    ndarray, shape (n_rows, n_columns)
        −`SPECTROGRAM_RANGE_DB`…0 dB, highest frequency first.
    """
    n_window = max(int(_WINDOW_S * rate_hz), 16)
    n_fft = int(sp_fft.next_fast_len(2 * n_window, real=True))
    centres = ((np.arange(n_columns) + 0.5) * length_s / n_columns * rate_hz).astype(np.intp)
    padded = np.pad(samples, (n_window // 2, n_window))
    known = centres < samples.size
    frames = np.lib.stride_tricks.sliding_window_view(padded, n_window)[centres[known]]
    window = np.hanning(n_window).astype(np.float32)
    power = np.abs(sp_fft.rfft(frames * window, n_fft, axis=1)) ** 2
    total = np.pad(np.cumsum(power, axis=1, dtype=np.float64), ((0, 0), (1, 0)))
    first, last = _bands(n_rows, n_fft, rate_hz)
    bands = (total[:, last] - total[:, first]) / np.maximum(last - first, 1)
    levels = np.full((n_columns, n_rows), -SPECTROGRAM_RANGE_DB, np.float32)
    peak = float(bands.max(initial=0.0))
    if peak > 0.0:
        floor = peak * 10.0 ** (-SPECTROGRAM_RANGE_DB / 10.0)
        levels[known] = 10.0 * np.log10(np.maximum(bands, floor) / peak)
    return levels.T[::-1]


def partial_level_db(
    samples: Samples, *, rate_hz: float, pitch_hz: float, length_s: float, n_columns: int
) -> FloatArray:
    """Return the level of the first partial over time, in dB re its highest value.

    The note is shifted down by `pitch_hz` and averaged over a Hann window of four periods
    (at least 20 ms), which leaves the neighbouring partials out.

    Returns
    -------
    ndarray, shape (n_columns,)
        Levels at the middle of each column; NaN beyond the end of the note.
    """
    n_window = max(int(4.0 * rate_hz / pitch_hz), int(0.02 * rate_hz), 8)
    centres = ((np.arange(n_columns) + 0.5) * length_s / n_columns * rate_hz).astype(np.intp)
    known = centres < samples.size
    padded = np.pad(samples, (n_window // 2, n_window))
    frames = np.lib.stride_tricks.sliding_window_view(padded, n_window)[centres[known]]
    phase = 2.0 * np.pi * pitch_hz / rate_hz * np.arange(n_window)
    waves = np.stack([np.cos(phase), np.sin(phase)], axis=1) * np.hanning(n_window)[:, None]
    level = np.hypot(*(frames @ waves.astype(np.float32)).T)
    result = np.full(n_columns, np.nan, np.float32)
    peak = float(level.max(initial=0.0))
    if peak > 0.0:
        result[known] = 20.0 * np.log10(np.maximum(level / peak, 1e-6))
    return result


def _ramp() -> tuple[tuple[int, int, int], ...]:
    """Sixteen colours from paper to ink, evenly spaced, so that darker is always louder."""
    paper, middle, ink = np.array((247, 245, 239)), np.array((96, 128, 140)), np.array((20, 26, 40))
    colours = []
    for step in np.linspace(0.0, 2.0, 16):
        low, high, share = (paper, middle, step) if step < 1.0 else (middle, ink, step - 1.0)
        red, green, blue = (round(float(c)) for c in low + (high - low) * share)
        colours.append((red, green, blue))
    return tuple(colours)


SHADES = _ramp()
"""Colours of the spectrogram, quiet to loud."""


def shaded(levels_db: npt.NDArray[np.float32]) -> npt.NDArray[np.uint8]:
    """Return the index into `SHADES` of each level of a spectrogram."""
    share = 1.0 + levels_db / SPECTROGRAM_RANGE_DB
    return np.clip(np.round(15.0 * share), 0, 15).astype(np.uint8)


def png_uri(levels: npt.NDArray[np.uint8], colours: tuple[tuple[int, int, int], ...]) -> str:
    """Return a picture of up to 16 colours as a ``data:`` address.

    Parameters
    ----------
    levels
        Index of the colour of each pixel, shape (rows, columns).
    colours
        Red, green and blue of each index, 0–255.
    """
    n_rows, n_columns = levels.shape
    even = np.pad(levels, ((0, 0), (0, n_columns % 2)))
    packed = (even[:, 0::2] << 4 | even[:, 1::2]).astype(np.uint8)
    rows = np.zeros((n_rows, packed.shape[1] + 1), np.uint8)  # filter type 0 before each row
    rows[:, 1:] = packed
    blocks = (
        (b"IHDR", struct.pack(">IIBBBBB", n_columns, n_rows, 4, 3, 0, 0, 0)),
        (b"PLTE", bytes(channel for colour in colours for channel in colour)),
        (b"IDAT", zlib.compress(rows.tobytes(), 9)),
        (b"IEND", b""),
    )
    data = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in blocks
    )
    return "data:image/png;base64," + base64.b64encode(data).decode("ascii")
