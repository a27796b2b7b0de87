"""Where each note is stopped.

Conventions
-----------
Times are seconds into the recording. The power of the waveform is looked at in steps of 5 ms.

Limits
------
A note that is not stopped ends where the next one starts, or where it falls into the noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d

__all__ = ["Ending", "attack_levels", "find_endings"]

FloatArray = npt.NDArray[np.float64]

_ATTACK_S = 0.05
_SETTLED_S = 0.04
_WITHIN_S, _DROP_DB = 0.045, 9.0
"""A hand that stops a string takes 9 dB off within 45 ms; no string decays by 200 dB/s."""
_STAYS_DB = 6.0
"""A stop counts when the level stays this far under what it was until the next note."""
_BODY_S, _SETTLES_S, _RINGS_S = 0.12, (0.1, 0.15), (0.25, 0.45)
_LEAST_FALL_DB, _RINGS_DB = 0.5, 5.0
_LEAST_RINGING_DB, _MOST_UNDER_DB = 12.0, 20.0
"""A note that the body hardly radiates begins with the knock of the pick and then rings far under
it: what falls so soon after the onset, and later is as loud within 5 dB as when the knock is over,
has not been stopped (seconds from where it falls). What a hand or a fret has stopped goes on
falling by 30 dB/s and more, into noise, hum or what the other strings do, which hardly fall."""
_OVER_NOISE_DB = 3.0
_RIPPLE_STEPS = 4
"""Power is averaged over 20 ms: more than a period of all but the lowest bass notes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """How a note ends.

    Parameters
    ----------
    end_s
        Where it ends.
    stopped
        Whether a sudden drop ends it before the next note.
    """

    end_s: float
    stopped: bool


def attack_levels(
    power: npt.NDArray[np.float32], onsets_s: FloatArray, *, step_s: float
) -> FloatArray:
    """Return the highest level within 50 ms after each onset, in dB re full scale.

    Parameters
    ----------
    power
        Mean square of the waveform every `step_s`.
    onsets_s
        Onsets within the recording, shape (notes,).
    step_s
        Exact step of `power`.
    """
    starts = (onsets_s / step_s).astype(np.intp)
    steps = np.minimum(starts[:, None] + np.arange(round(_ATTACK_S / step_s)), len(power) - 1)
    return np.asarray(10.0 * np.log10(power[steps].max(axis=1).astype(np.float64) + 1e-12))


def find_endings(
    power: npt.NDArray[np.float32],
    onsets_s: FloatArray,
    *,
    duration_s: float,
    noise_dbfs: float,
    step_s: float,
) -> tuple[Ending, ...]:
    """Return the end of each note.

    Parameters
    ----------
    power
        Mean square of the waveform every `step_s`.
    onsets_s
        Onsets of all notes, rising.
    duration_s
        Length of the recording.
    noise_dbfs
        Its level between notes.
    step_s
        Exact step of `power`: a whole number of samples, which 5 ms need not be.
    """
    level = 10.0 * np.log10(power.astype(np.float64) + 1e-12)
    nexts = np.append(onsets_s[1:], duration_s)
    return tuple(
        _ending(level, float(on), float(nx), noise_dbfs, step_s=step_s)
        for on, nx in zip(onsets_s, nexts, strict=True)
    )


def _ending(
    level: FloatArray, onset_s: float, next_s: float, noise_dbfs: float, *, step_s: float
) -> Ending:
    first = round((onset_s + _SETTLED_S) / step_s)
    stop = min(int(next_s / step_s) - 1, len(level))
    part = level[first:stop]
    lag = round(_WITHIN_S / step_s)
    if len(part) < _RIPPLE_STEPS:
        return Ending(end_s=next_s, stopped=False)
    # The loudest of 20 ms: a period of a low string must not look like a stop.
    upper = maximum_filter1d(part, _RIPPLE_STEPS, origin=(_RIPPLE_STEPS - 1) // 2, mode="nearest")
    rest = np.maximum.accumulate(part[::-1])[::-1]
    after = np.append(rest[min(lag, len(rest)) :], np.full(min(lag, len(rest)), part[-1]))
    falls = np.flatnonzero(upper - after > _DROP_DB)
    silent = np.flatnonzero(rest < noise_dbfs + _OVER_NOISE_DB)
    for i in falls.tolist():
        if rest[min(i + lag, len(rest) - 1)] < upper[i] - _STAYS_DB:
            half = 0.5 * (upper[i] + after[i])
            quiet = maximum_filter1d(part[i:], _RIPPLE_STEPS, origin=-(_RIPPLE_STEPS // 2))
            below = np.flatnonzero(quiet < half)
            at = i + (int(below[0]) if len(below) else 0)
            early = _SETTLED_S + at * step_s < _BODY_S
            if early and _rings_on(upper, i, noise_dbfs=noise_dbfs, step_s=step_s):
                continue
            return Ending(end_s=(first + at) * step_s, stopped=True)
    if len(silent):
        return Ending(end_s=(first + int(silent[0])) * step_s, stopped=False)
    return Ending(end_s=next_s, stopped=False)


def _rings_on(upper: FloatArray, at: int, *, noise_dbfs: float, step_s: float) -> bool:
    """Return whether a note goes on under the knock that falls from a step on.

    Its partials may beat: the loudest of a while tells.
    """
    settled, later = (
        upper[at + round(start / step_s) : at + round(stop / step_s)]
        for start, stop in (_SETTLES_S, _RINGS_S)
    )
    if not len(settled) or len(later) < len(settled):
        return False
    rings_db, later_db = float(settled.max()), float(later.max())
    return (
        _LEAST_FALL_DB < rings_db - later_db < _RINGS_DB
        and later_db > noise_dbfs + _LEAST_RINGING_DB
        and rings_db > float(upper[at]) - _MOST_UNDER_DB
    )
