"""From the string to the recording: pickup or room, noise, hum and what recorders do.

Conventions
-----------
Levels in dB re full scale. The linear part (`colour`) is applied to a note with and without
contact alike, so that the energy that contact adds is known as it is recorded.

Limits
------
The body is a fixed set of resonances, the room an exponentially decaying noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

__all__ = ["Chain", "colour", "record"]

Array = npt.NDArray[np.float64]

BODY_MODES = ((102.0, 22.0, 0.9), (198.0, 28.0, 0.8), (276.0, 30.0, 0.4), (395.0, 30.0, 0.5))
"""Frequency in Hz, Q and relative strength of a body's first resonances (invented, in the
range of published guitar tops)."""


HUM_HARMONICS = ((1, 1.0), (2, 0.5), (3, 0.6), (5, 0.3), (7, 0.2), (9, 0.1))
"""Number and relative strength (invented)."""
AGC_BLOCK_S = 0.01
AGC_AIM_DBFS = -6.0
AGC_MOST_DB = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """How the sound is picked up and recorded.

    Parameters
    ----------
    source
        "pickup", "bridge" (contact transducer) or "room" (body and room before a microphone).
    pickup_mm
        Distance of the pickup from the saddle.
    pickup_hz, pickup_q
        Resonance of a loaded pickup (2 to 5 kHz).
    horizontal
        Share of the polarisation along the frets that is heard, 0–1.
    room_t60_s, room_db
        Reverberation time, and the level of the reverberation re the direct sound.
    peak_dbfs
        Level of the highest sample.
    noise_dbfs, hum_dbfs, hum_hz
        Noise (rms) and hum; None for no hum.
    noise
        "white", or "pink" (as rooms and traffic are: −3 dB per octave).
    band_hz
        Pass band of a poor recorder or of lossy coding, None for full range.
    clip_db
        How far the highest sample goes over full scale before it is clipped, None for not at
        all; `peak_dbfs` then does not matter.
    agc_s
        Release time of automatic gain that lifts what is quiet, None for none.
    sample_rate_hz
        Of the recording.
    """

    source: Literal["pickup", "bridge", "room"] = "pickup"
    pickup_mm: float = 70.0
    pickup_hz: float = 3600.0
    pickup_q: float = 1.6
    horizontal: float = 0.3
    room_t60_s: float = 0.35
    room_db: float = -8.0
    peak_dbfs: float = -6.0
    noise_dbfs: float = -75.0
    hum_dbfs: float | None = None
    hum_hz: float = 50.0
    noise: Literal["white", "pink"] = "white"
    band_hz: tuple[float, float] | None = None
    clip_db: float | None = None
    agc_s: float | None = None
    sample_rate_hz: int = 44100

    @property
    def weight_kind(self) -> str:
        """Which motion of the string is picked up."""
        return "pickup" if self.source == "pickup" else "bridge"


def _room(chain: Chain, rng: np.random.Generator) -> Array:
    """Return the impulse response of body and room, direct sound first."""
    from scipy.signal import butter, sosfilt

    fs = chain.sample_rate_hz
    n = int(chain.room_t60_s * fs)
    t = np.arange(n) / fs
    tail = rng.normal(size=n) * np.exp(-6.91 * t / chain.room_t60_s)
    tail[: int(0.003 * fs)] = 0.0
    high = min(6500.0, 0.45 * fs)
    tail = sosfilt(butter(1, [90.0, high], "band", fs=fs, output="sos"), tail)
    tail *= 10.0 ** (chain.room_db / 20.0) / np.sqrt(np.sum(tail**2))
    body = np.zeros(n)
    for f, q, strength in BODY_MODES:
        body += (
            strength
            * 2
            * np.pi
            * f
            / q
            / fs
            * np.sin(2 * np.pi * f * t)
            * np.exp(-np.pi * f / q * t)
        )
    out = tail + body
    out[0] += 1.0
    return np.asarray(out)


def colour(chain: Chain, signal: Array, *, seed: int) -> Array:
    """Return the signal through the linear part of the chain, same length.

    Parameters
    ----------
    chain
        What the sound goes through.
    signal
        Shape (n,).
    seed
        Seed of the room, the same for every sound in one take.
    """
    from scipy.signal import butter, fftconvolve, sosfilt

    fs = chain.sample_rate_hz
    out = signal
    if chain.source == "pickup":
        w = 2 * np.pi * chain.pickup_hz / fs
        alpha = np.sin(w) / (2 * chain.pickup_q)
        b = np.array([(1 - np.cos(w)) / 2, 1 - np.cos(w), (1 - np.cos(w)) / 2])
        a = np.array([1 + alpha, -2 * np.cos(w), 1 - alpha])
        sos = np.concatenate([b / a[0], a / a[0]])[None, :]
        out = sosfilt(sos, out)
    elif chain.source == "room":
        out = fftconvolve(out, _room(chain, np.random.default_rng(seed)))[: signal.size]
    if chain.band_hz is not None:
        low, high = chain.band_hz
        sos = butter(3, [low, min(high, 0.49 * fs)], "band", fs=fs, output="sos")
        out = sosfilt(sos, out)
    return np.asarray(out)


def record(signal: Array, chain: Chain, *, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Return the finished recording: level set, noise and hum added, within ±1."""
    fs = chain.sample_rate_hz
    peak = float(np.abs(signal).max()) or 1.0
    level_db = chain.peak_dbfs if chain.clip_db is None else chain.clip_db
    gain = 10.0 ** (level_db / 20.0) / peak
    out = signal * gain + _noise(signal.size, chain, rng) * 10.0 ** (chain.noise_dbfs / 20.0)
    if chain.hum_dbfs is not None:
        t = np.arange(out.size) / fs
        for harmonic, strength in HUM_HARMONICS:
            phase = float(rng.uniform(0, 2 * np.pi))
            level = strength * 10.0 ** (chain.hum_dbfs / 20.0)
            out += level * np.sin(2 * np.pi * chain.hum_hz * harmonic * t + phase)
    if chain.agc_s is not None:
        out = _ridden(out, fs=fs, release_s=chain.agc_s)
    return np.asarray(np.clip(out, -1.0, 1.0), np.float32)


def _noise(n: int, chain: Chain, rng: np.random.Generator) -> Array:
    """Return noise of rms 1."""
    white = rng.normal(size=n)
    if chain.noise == "white":
        return np.asarray(white)
    from scipy.signal import sosfilt, zpk2sos

    # poles and zeros three to a decade keep −3 dB per octave from 20 Hz to half the rate
    corners = 20.0 * 10.0 ** (np.arange(10) / 3.0)
    corners = corners[corners * 10.0 ** (1 / 6) < 0.45 * chain.sample_rate_hz]
    poles = np.exp(-2 * np.pi * corners / chain.sample_rate_hz)
    zeros = np.exp(-2 * np.pi * corners * 10.0 ** (1 / 6) / chain.sample_rate_hz)
    pink = sosfilt(zpk2sos(zeros, poles, 1.0), white)
    return np.asarray(pink / (float(np.sqrt(np.mean(pink**2))) or 1.0))


def _ridden(signal: Array, *, fs: int, release_s: float) -> Array:
    """Return the signal with automatic gain: down at once, up slowly, towards one level."""
    block = int(AGC_BLOCK_S * fs)
    n_blocks = -(-signal.size // block)
    padded = np.pad(np.abs(signal), (0, n_blocks * block - signal.size))
    peaks = padded.reshape(n_blocks, block).max(axis=1)
    held = np.empty(n_blocks)
    fade = np.exp(-AGC_BLOCK_S / release_s)
    now = 0.0
    for i, peak in enumerate(peaks):
        now = max(float(peak), now * fade)
        held[i] = now
    aim = 10.0 ** (AGC_AIM_DBFS / 20.0)
    gain = np.minimum(aim / np.maximum(held, 1e-9), 10.0 ** (AGC_MOST_DB / 20.0))
    at = (np.arange(n_blocks) + 0.5) * block
    return np.asarray(signal * np.interp(np.arange(signal.size), at, gain))
