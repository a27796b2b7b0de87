"""Sounds of the player that are not notes: squeaks, knocks, clicks of the pick, talk.

Conventions
-----------
Levels are relative to the strings' own, so that they do not depend on the unit of the signal.

Limits
------
They go through the same chain as the strings, also where a pickup would not hear them.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from buzzscan.simulate.performance import Event

__all__ = ["add_human_noise"]

Array = npt.NDArray[np.float64]


def add_human_noise(
    signal: Array,
    events: tuple[Event, ...],
    *,
    wound: tuple[int, ...],
    sample_rate_hz: int,
    rng: np.random.Generator,
) -> Array:
    """Return the signal with the squeaks, knocks, clicks and talk that its events name.

    Parameters
    ----------
    signal
        The strings, shape (n,).
    events
        Picks of the run.
    wound
        Numbers of the wound strings: only they squeak.
    sample_rate_hz
        Of the signal.
    rng
        Draws each sound.
    """
    out = signal.copy()
    level = float(np.sqrt(np.mean(signal[signal != 0.0] ** 2))) if signal.any() else 0.0
    peak = float(np.abs(signal).max(initial=0.0)) / level if level > 0.0 else 0.0

    def add(at_s: float, sound: Array) -> None:
        start = max(int(at_s * sample_rate_hz), 0)
        stop = min(start + sound.size, out.size)
        out[start:stop] += level * sound[: stop - start]

    for event in events:
        if event.pick_noise > 0.0:
            click = _click(sample_rate_hz, rng)
            add(event.onset_s - click.size / sample_rate_hz, click * event.pick_noise * peak)
        if event.squeak and event.string in wound:
            add(event.onset_s - float(rng.uniform(0.03, 0.12)), _squeak(sample_rate_hz, rng))
        if event.thump:
            add(event.onset_s - float(rng.uniform(0.08, 0.2)), _thump(sample_rate_hz, rng))
        if event.talk_s > 0:
            talk = _talk(event.talk_s, sample_rate_hz, rng)
            add(event.onset_s - event.talk_s - 0.25, talk)
    return out


def _click(fs: int, rng: np.random.Generator) -> Array:
    """Return a pick that lands on a string and slides off it: a short hiss, louder at its end."""
    from scipy.signal import butter, sosfilt

    n = int(rng.uniform(0.003, 0.012) * fs)
    low = float(rng.uniform(1200.0, 2500.0))
    sos = butter(2, [low, min(3.0 * low, 0.45 * fs)], "band", fs=fs, output="sos")
    hiss = sosfilt(sos, rng.normal(size=n)) * np.linspace(0.3, 1.0, n)
    return np.asarray(hiss / (np.abs(hiss).max() + 1e-12))


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
