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

from buzzscan.simulate.performance import Event

__all__ = ["Chain", "add_human_noise", "colour", "record"]

Array = npt.NDArray[np.float64]

BODY_MODES = ((102.0, 22.0, 0.9), (198.0, 28.0, 0.8), (276.0, 30.0, 0.4), (395.0, 30.0, 0.5))
"""Frequency in Hz, Q and relative strength of a body's first resonances (invented, in the
range of published guitar tops)."""


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
    band_hz
        Pass band of a poor recorder, None for full range.
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
    band_hz: tuple[float, float] | None = None
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


def add_human_noise(
    signal: Array, events: tuple[Event, ...], *, sample_rate_hz: int, rng: np.random.Generator
) -> Array:
    """Return the signal with the squeaks, knocks and talk that its events name."""
    out = signal.copy()
    level = float(np.sqrt(np.mean(signal[signal != 0.0] ** 2))) if signal.any() else 0.0

    def add(at_s: float, sound: Array) -> None:
        start = max(int(at_s * sample_rate_hz), 0)
        stop = min(start + sound.size, out.size)
        out[start:stop] += level * sound[: stop - start]

    for event in events:
        if event.squeak:
            add(event.onset_s - float(rng.uniform(0.03, 0.12)), _squeak(sample_rate_hz, rng))
        if event.thump:
            add(event.onset_s - float(rng.uniform(0.08, 0.2)), _thump(sample_rate_hz, rng))
        if event.talk_s > 0:
            talk = _talk(event.talk_s, sample_rate_hz, rng)
            add(event.onset_s - event.talk_s - 0.25, talk)
    return out


def _squeak(fs: int, rng: np.random.Generator) -> Array:
    """Return a finger sliding over a wound string: a noisy tone that glides."""
    n = int(rng.uniform(0.04, 0.14) * fs)
    t = np.arange(n) / fs
    start, stop = rng.uniform(1200.0, 4000.0, 2)
    phase = 2 * np.pi * np.cumsum(np.linspace(start, stop, n)) / fs
    rough = 1.0 + 0.8 * np.sin(2 * np.pi * rng.uniform(40, 120) * t)
    tone = np.sin(phase) + 0.5 * np.sin(2 * phase) + rng.normal(size=n) * 0.5
    return np.asarray(rng.uniform(0.2, 0.8) * tone * rough * np.hanning(n))


def _thump(fs: int, rng: np.random.Generator) -> Array:
    """Return a knock on the body: a few low modes and a short click."""
    n = int(0.15 * fs)
    t = np.arange(n) / fs
    out = rng.normal(size=n) * np.exp(-t / 0.004) * 0.5
    for f in rng.uniform(60.0, 400.0, 4):
        out += np.sin(2 * np.pi * f * t) * np.exp(-t / rng.uniform(0.01, 0.04))
    return np.asarray(out * rng.uniform(0.3, 1.2))


def _talk(seconds: float, fs: int, rng: np.random.Generator) -> Array:
    """Return speech-like sound: a gliding voice through changing formants, in syllables."""
    from scipy.signal import sosfilt

    pieces = []
    left = seconds
    while left > 0.05:
        length = min(float(rng.uniform(0.1, 0.28)), left)
        n = int(length * fs)
        pitch = rng.uniform(95.0, 210.0) * np.linspace(1.0, rng.uniform(0.85, 1.15), n)
        voice = (np.cumsum(pitch) / fs) % 1.0 - 0.5 + 0.1 * rng.normal(size=n)
        out = np.zeros(n)
        for low, high in ((300, 800), (900, 2200), (2300, 3200)):
            f = rng.uniform(low, high)
            r = np.exp(-np.pi * 90.0 / fs)
            sos = np.array([[1 - r, 0, 0, 1, -2 * r * np.cos(2 * np.pi * f / fs), r * r]])
            out += sosfilt(sos, voice)
        pieces.append(out / (np.abs(out).max() + 1e-9) * np.hanning(n) * rng.uniform(0.4, 1.0))
        pause = int(rng.uniform(0.01, 0.12) * fs)
        pieces.append(np.zeros(pause))
        left -= length + pause / fs
    return np.concatenate(pieces) * 0.8 if pieces else np.zeros(0)


def record(signal: Array, chain: Chain, *, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Return the finished recording: level set, noise and hum added, within ±1."""
    fs = chain.sample_rate_hz
    peak = float(np.abs(signal).max()) or 1.0
    out = signal * (10.0 ** (chain.peak_dbfs / 20.0) / peak)
    out = out + rng.normal(size=out.size) * 10.0 ** (chain.noise_dbfs / 20.0)
    if chain.hum_dbfs is not None:
        t = np.arange(out.size) / fs
        for harmonic, strength in ((1, 1.0), (2, 0.5), (3, 0.6), (5, 0.3), (7, 0.2), (9, 0.1)):
            phase = float(rng.uniform(0, 2 * np.pi))
            level = strength * 10.0 ** (chain.hum_dbfs / 20.0)
            out += level * np.sin(2 * np.pi * chain.hum_hz * harmonic * t + phase)
    return np.asarray(np.clip(out, -1.0, 1.0), np.float32)
