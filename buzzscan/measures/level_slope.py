"""The slope of a level: how fast a whole note falls.

Conventions
-----------
Rates are in dB/s and positive where the level falls; intervals are 95 %. Times are seconds
after the onset.

Limits
------
One straight line: what falls in two stages is read as their mean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.units import DB_PER_NEPER

__all__ = [
    "LEAST_OVER_NOISE_DB",
    "LEAST_SPAN_S",
    "PAIR_RATIO",
    "SIGMAS_95",
    "START_S",
    "DecayFit",
    "SeenFall",
    "fit_level_slope",
    "not_told",
    "refused",
    "straight_line",
]

FloatArray = npt.NDArray[np.float64]

START_S = 0.08
"""The decay is the slope from here on: the attack and the pick are over."""
LEAST_SPAN_S = 0.1
LEAST_OVER_NOISE_DB = 6.0
SIGMAS_95 = 1.96
PAIR_RATIO = 0.03
"""Two polarisations fall at rates some 10 to 30 per cent apart (common practice, no source);
which share of each is heard is not known."""
_MODEL_DB = 0.03
"""Ripple of a level that is never undercut: the leakage of the other partials."""
_EARLY_DB, _EARLY_S = 0.6, 0.08
"""Doubt about the level at `START_S` and the time in which it fades: the end of the note before,
still sounding in the room, and the room's own build-up (a T60 of 0.5 s fades so)."""
_MOST_EARLY_DB = 20.0
_LEAST_SPAN_FOR_EARLY_S = 0.35
"""Four times the fading: then the line shows what the beginning departs from."""
_PAIR_DB = 0.15
"""Level that a beat slower than the note may have gained or lost over the note."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenFall:
    """A fall with its standard error, and what the room may have done to its beginning.

    It stands whether the fall is certain enough to be told or not: many uncertain ones of one
    pitch, taken together, tell what none of them does. `early_log_odds` say what the room is like.
    """

    rate_db_per_s: float
    error_db_per_s: float
    room_db: float
    early_log_odds: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class DecayFit:
    """A rate with its interval and standard error, or None with the reason."""

    rate_db_per_s: float | None
    low_db_per_s: float | None
    high_db_per_s: float | None
    reason: str
    error_db_per_s: float = 0.0
    seen: SeenFall | None = None


def not_told(reason: str, *, seen: SeenFall | None = None) -> DecayFit:
    """Return a decay that is not told, with the reason."""
    return DecayFit(
        rate_db_per_s=None, low_db_per_s=None, high_db_per_s=None, reason=reason, seen=seen
    )


def straight_line(t: FloatArray, level: FloatArray) -> tuple[float, float]:
    """Return slope and offset of the least-squares line, with less ado than numpy's."""
    mean = float(t.mean())
    x = t - mean
    slope = float(x @ level) / float(x @ x)
    return slope, float(level.mean()) - slope * mean


def refused(times_s: FloatArray, powers: FloatArray, noise: float) -> DecayFit:
    """Return a decay that is not told because the level does not stand over the noise."""
    over = 10.0 * np.log10((np.median(powers) + 1e-30) / (noise + 1e-30)) if len(powers) else 0.0
    span = float(np.ptp(times_s)) if len(times_s) else 0.0
    return not_told(
        f"level is {over:.0f} dB over the noise, seen for {span:.2f} s; "
        f"need {LEAST_OVER_NOISE_DB:.0f} dB for {0.5 * LEAST_SPAN_S:.2f} s"
    )


def fit_level_slope(
    times_s: FloatArray,
    powers: FloatArray,
    *,
    noise: float,
    frames_per_independent: float,
) -> DecayFit:
    """Return the slope of a level in dB by weighted least squares, noise taken off.

    Parameters
    ----------
    times_s, powers
        Shape (n,).
    noise
        Mean power of the noise within `powers`.
    frames_per_independent
        Frames that share samples, for the standard error.
    """
    use = np.ones(len(times_s), bool)
    line = _Line(fall=0.0, at_zero=0.0, error=0.0)
    for _ in range(4):
        t = times_s[use]
        if _too_little(t):
            return refused(times_s, powers, noise)
        p = np.maximum(powers[use] - noise, 0.05 * noise + 1e-30)
        ratio = noise / p
        var = (0.5 * DB_PER_NEPER) ** 2 * (2.0 * ratio + ratio**2) + _MODEL_DB**2
        line = _line(t, 10.0 * np.log10(p), var, frames_per_independent)
        over = line.at_zero - line.fall * times_s - 10.0 * np.log10(noise + 1e-30)
        now = over > LEAST_OVER_NOISE_DB
        if (now == use).all():
            break
        use = now
    # a level that just clears the bar may lose its last frames in the last round
    if _too_little(times_s[use]):
        return refused(times_s, powers, noise)
    error = _with_polarisations(line.error, line.fall, float(np.ptp(times_s[use])))
    return DecayFit(
        rate_db_per_s=line.fall,
        low_db_per_s=line.fall - SIGMAS_95 * error,
        high_db_per_s=line.fall + SIGMAS_95 * error,
        error_db_per_s=error,
        reason="",
    )


def _too_little(times_s: FloatArray) -> bool:
    return len(times_s) < 3 or float(np.ptp(times_s)) < 0.5 * LEAST_SPAN_S


def _with_polarisations(error: float, rate: float, span_s: float) -> float:
    """Return an error that also holds what two unresolved polarisations leave in doubt."""
    return float(np.sqrt(error**2 + (PAIR_RATIO * rate) ** 2 + (_PAIR_DB / span_s) ** 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """Fall per second, level at time zero, standard error of the fall."""

    fall: float
    at_zero: float
    error: float


def _early_db(t: FloatArray, level: FloatArray, var: FloatArray) -> float:
    """Return how far the beginning departs from the line, where the note is long enough."""
    if len(t) < 8 or float(np.ptp(t)) < _LEAST_SPAN_FOR_EARLY_S:
        return _EARLY_DB
    x = np.stack([np.ones(len(t)), t, np.exp(-(t - START_S) / _EARLY_S)], 1)
    weights = 1.0 / np.sqrt(var)
    departure = np.linalg.lstsq(x * weights[:, None], level * weights, rcond=None)[0][2]
    return max(_EARLY_DB, min(abs(float(departure)), _MOST_EARLY_DB))


def _line(
    t: FloatArray, level: FloatArray, var: FloatArray, frames_per_independent: float
) -> _Line:
    """Return the line through a level whose beginning is in doubt.

    Early points weigh less, and what a departure there would do to the slope is in its error.
    """
    early = _early_db(t, level, var) * np.exp(-(t - START_S) / _EARLY_S)
    w = 1.0 / (var + early**2)
    mean_t = float(w @ t) / float(w.sum())
    mean_l = float(w @ level) / float(w.sum())
    bearing = w * (t - mean_t) / float(w @ (t - mean_t) ** 2)
    slope = float(bearing @ level)
    miss = level - mean_l - slope * (t - mean_t)
    free = max(len(t) / frames_per_independent - 2.0, 0.5)
    chi2 = max(float(w @ miss**2) / frames_per_independent / free, 1.0)
    noise = float(bearing**2 @ var) * frames_per_independent * chi2
    return _Line(
        fall=-slope,
        at_zero=mean_l - slope * mean_t,
        error=float(np.sqrt(noise + float(bearing @ early) ** 2)),
    )
