"""Levels of the whole note: attack, fall, and decay times as ISO 3382-1 evaluates them.

Conventions
-----------
Levels are dB re full scale (a full-scale square wave is 0 dBFS). Times are seconds after the
onset. Decay times are extrapolated to 60 dB.

Limits
------
ISO 3382-1 asks for a range: T20 needs 35 dB between the peak and the noise, T30 needs 45 dB,
EDT 20 dB. A note that is stopped before it has fallen that far counts as noise from there.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.measures.level_slope import straight_line
from buzzscan.units import power_to_db

__all__ = ["DecayTimes", "FrameLevels", "attack_level_dbfs", "decay_times", "frame_levels"]

FloatArray = npt.NDArray[np.float64]

FRAME_S = 0.01
_ATTACK_FROM_S, _ATTACK_TO_S = -0.02, 0.06
"""Around the onset: an onset is placed within 20 ms, a note is at its loudest within 60 ms."""
_RANGES = {"edt": (0.0, -10.0, 20.0), "t20": (-5.0, -25.0, 35.0), "t30": (-5.0, -35.0, 45.0)}
"""Evaluation range and needed range over the noise, dB (ISO 3382-1)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameLevels:
    """Mean powers of consecutive frames of `FRAME_S`, and their middles after the onset."""

    times_s: FloatArray
    powers: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class DecayTimes:
    """Decay times in s, None with (measure, reason) in `withheld`."""

    edt_s: float | None
    t20_s: float | None
    t30_s: float | None
    withheld: tuple[tuple[str, str], ...]


def frame_levels(
    samples: npt.NDArray[np.floating], *, sample_rate_hz: float, onset_s: float
) -> FrameLevels:
    """Return mean powers of frames.

    Parameters
    ----------
    samples
        Mono, shape (n,).
    sample_rate_hz
        Rate of `samples`.
    onset_s
        Where in `samples` the onset lies.
    """
    length = max(round(FRAME_S * sample_rate_hz), 1)
    n = len(samples) // length
    frames = np.asarray(samples[: n * length], np.float32).reshape(n, length)
    powers = np.einsum("ij,ij->i", frames, frames).astype(np.float64) / length
    times = np.asarray((np.arange(n) + 0.5) * length / sample_rate_hz - onset_s, np.float64)
    return FrameLevels(times_s=times, powers=powers)


def attack_level_dbfs(levels: FrameLevels) -> float:
    """Return the highest level around the onset."""
    near = (levels.times_s >= _ATTACK_FROM_S) & (levels.times_s <= _ATTACK_TO_S)
    powers = levels.powers[near] if near.any() else levels.powers
    return power_to_db(float(powers.max(initial=0.0)))


def decay_times(levels: FrameLevels, *, noise_dbfs: float, stop_s: float) -> DecayTimes:
    """Return decay times by backward integration of the squared signal.

    Noise is taken off the squared signal and the tail beyond the end is added as an
    exponential (Chu, J. Acoust. Soc. Am. 63, 1978; ISO 3382-1, 5.3.3).

    Parameters
    ----------
    levels
        Of the note.
    noise_dbfs
        Level of the recording's noise.
    stop_s
        End of the note.
    """
    use = (levels.times_s > 0.0) & (levels.times_s < stop_s)
    t, p = levels.times_s[use], levels.powers[use]
    noise = 10.0 ** (noise_dbfs / 10.0)
    if len(t) < 5:
        return _none_of("note is shorter than 50 ms")
    top = int(np.argmax(p))
    t, p = t[top:], p[top:]
    if len(t) < 5:
        return _none_of("note does not fall before its end")
    quiet = np.flatnonzero(p < 2.0 * noise)
    stop = int(quiet[0]) if len(quiet) else len(p)
    clean = np.maximum(p[:stop] - noise, 0.0)
    if stop < 5:
        return _none_of("note does not stand clear of the noise")
    # A note that never reaches the noise is known down to where it is stopped.
    end = noise if len(quiet) else statistics.median(p[-5:].tolist())
    range_db = power_to_db(float(p[0])) - power_to_db(end)
    curve = _backward(t[:stop], clean)
    values: dict[str, float | None] = {}
    withheld = []
    for name, (high, low, need) in _RANGES.items():
        values[name] = None
        if range_db < need:
            reason = f"the note falls through {range_db:.0f} dB over the noise, need {need:.0f} dB"
        else:
            values[name] = _evaluate(t[:stop], curve, high, low)
            reason = "the level does not fall through the range"
        if values[name] is None:
            withheld.append((f"{name}_s", reason))
    return DecayTimes(
        edt_s=values["edt"], t20_s=values["t20"], t30_s=values["t30"], withheld=tuple(withheld)
    )


def _none_of(reason: str) -> DecayTimes:
    names = ("edt_s", "t20_s", "t30_s")
    return DecayTimes(
        edt_s=None, t20_s=None, t30_s=None, withheld=tuple((name, reason) for name in names)
    )


def _backward(t: FloatArray, p: FloatArray) -> FloatArray:
    """Return the backward integral in dB re its start, the tail beyond the end added."""
    step = float(t[1] - t[0])
    last = max(len(p) // 3, 4)
    level = power_to_db(np.maximum(p[-last:], 1e-20))
    slope, offset = straight_line(t[-last:], level)
    tail = 0.0
    if slope < -0.1:
        end = 10.0 ** ((offset + slope * (float(t[-1]) + 0.5 * step)) / 10.0)
        tail = end / (-slope * np.log(10.0) / 10.0)
    # Energy from the middle of each frame on.
    energy = np.cumsum(p[::-1])[::-1] * step - 0.5 * p * step + tail
    return power_to_db(energy / max(float(energy[0]), 1e-30))


def _evaluate(t: FloatArray, curve_db: FloatArray, high: float, low: float) -> float | None:
    """Return the decay time from the straight line between two levels of the curve."""
    within = (curve_db <= high) & (curve_db >= low)
    if within.sum() < 3 or curve_db.min() > low:
        return None
    slope, _ = straight_line(t[within], curve_db[within])
    return -60.0 / slope if slope < 0.0 else None
