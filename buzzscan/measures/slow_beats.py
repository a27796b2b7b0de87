"""The fall of a partial whose two polarisations may beat more slowly than the note lasts.

Conventions
-----------
Levels in dB, rates in dB/s and positive where the level falls. Times are seconds after the
onset, where both polarisations of a plucked string start together: in step, or against each
other.

Limits
------
Both are taken to fall alike; what they differ by is the caller's doubt. A beat of more than
`_MOST_BEATS` in a note is not looked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from buzzscan.measures.level_slope import SIGMAS_95
from buzzscan.units import DB_PER_NEPER, power_to_db

__all__ = ["BeatFit", "fit_through_beats", "room_of_take"]

FloatArray = npt.NDArray[np.float64]

_CENTS = 1200.0 / float(np.log(2.0))
_POINTS = 48
"""Points of the level over a note: ten to the shortest beat."""
_MOST_BEATS = 5.0
_BEATS = np.concatenate([np.geomspace(0.05, 1.0, 16), np.arange(1.08, _MOST_BEATS, 0.08)])
_SECONDS = np.array([-0.8, -0.6, -0.45, -0.3, -0.2, -0.1, 0.1, 0.2, 0.3, 0.45, 0.6, 0.8])
"""Amplitude of the second polarisation over the first's."""
_GRID_DB = 0.02
"""Miss of the best pair of the bank from which it is worth to look between them."""
_REFINING_ROUNDS = 4
_STEP = 1e-4
_MOST_SECOND = 0.95
_USUAL_SECOND, _USUAL_APART_CENTS = 0.3, 0.7
"""A pickup hears the motion along the frets less; two polarisations of one string lie about a
cent apart, on a live body now and then several (common practice, no source)."""
_MOST_APART_CENTS = 12.0
_APART_TAIL = 3.0
"""How far they lie apart at most, and the degrees of freedom of Student's t for it."""
_ONE_ALONE = 0.4
"""Odds that the second polarisation is not heard."""
_DOUBT_OF_PAIR = 0.25
"""Share of what pairs change against a straight line that stays in doubt: real strings bend for
more reasons than are looked for here."""
_EARLY_DB = np.array([0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 8.0])
_EARLY_S = 0.08
"""What the room's build-up and the end of the note before may do to the level at `early_from_s`:
from nothing, on a dry take, to all. The level itself tells which. It fades with the room (a
T60 of 0.5 s fades so)."""
_ROOM_ROUNDS, _ROOM_PSEUDO_NOTES = 20, 0.3
"""Notes that each departure is granted unseen: it leaves rare ones a few per cent."""
_MODEL_DB = 0.01
"""Ripple that is never undercut: the leakage of the other partials."""
_BENT_DB = 0.02
"""Bend of a level that has no second: losses that depend on the amplitude, a body, a pickup near
its magnet. Single notes of a real guitar bend by up to 0.1 dB; more than this would hide the
pairs whose beat is slow."""
_PARABOLA, _CUBIC = 3.35, 6.6
"""One over the rms of a parabola and a cubic at right angles to what lies below them."""
_USUAL_MISS_POINTS = 4.0
"""Independent points that the expected scatter is worth against the scatter seen."""
_LEAST_LEVELS = 3
_LEAST_WEIGHT = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class BeatFit:
    """Fall per second with its standard error, level at the onset, rms about the best line.

    `early_db` is what the beginning departs by: hundredths of a dB on a dry take, tenths in a room.
    `early_log_odds` are what the level alone says for each of the departures looked for.
    """

    fall: float
    error: float
    at_zero: float
    ripple: float
    early_db: float
    early_log_odds: FloatArray


def fit_through_beats(
    times_s: FloatArray,
    powers: FloatArray,
    *,
    noise: float,
    frequency_hz: float,
    early_from_s: float,
    per_independent: float,
    room: FloatArray | None = None,
) -> BeatFit | None:
    """Return the slope of a level, averaged over all beats and room it may hold.

    Every pair of polarisations that is likely in a string bends the level in its own way. Each
    is taken off and a straight line fitted; the lines are weighed by how well they fit and how
    likely the pair is (Bayesian model averaging: Hoeting et al., Stat. Sci. 14, 1999). A bend
    that the level does not show counts little, one that it cannot show widens the error.

    Parameters
    ----------
    times_s, powers
        Shape (n,), rising times.
    noise
        Mean power of the noise within `powers`.
    frequency_hz
        Of the partial: two polarisations lie some cents apart.
    early_from_s
        Where the doubt about the beginning is at its full height.
    per_independent
        Frames that share samples.
    room
        How likely each departure is on this take, from `room_of_take`; all alike when None.

    Returns
    -------
    None with fewer than three levels.
    """
    if len(times_s) < _LEAST_LEVELS:
        return None
    clear = np.maximum(powers - noise, 0.05 * noise + 1e-30)
    ratio = noise / clear
    variance = (0.5 * DB_PER_NEPER) ** 2 * (2.0 * ratio + ratio**2) + _MODEL_DB**2
    length_s = float(times_s[-1])
    at = (np.arange(_POINTS) + 0.5) / _POINTS * length_s
    first = int(np.searchsorted(at, times_s[0]))
    at = at[first:]
    level = np.interp(at, times_s, power_to_db(clear))
    middle = float(level.mean())
    early = _EARLY_DB[:, None] * np.exp(-(at - early_from_s) / _EARLY_S)
    seen = _Seen(
        t=at,
        level=level - middle,
        v=np.interp(at, times_s, variance) + early**2,
        n_free=len(times_s) / per_independent,
    )
    fits, odds = _weighed(seen, first, length_s=length_s, periods=length_s * frequency_hz)
    early_log_odds = np.log(np.exp(odds - odds.max()).sum(axis=0) + _LEAST_WEIGHT)
    if room is not None:
        odds = odds + np.log(room)
    weight = np.exp(odds - odds.max())
    weight /= weight.sum()
    slope, width = _middle(fits.slope, weight)
    alone = np.exp(odds[0] - odds[0].max())
    plain = float((alone * fits.slope[0]).sum() / alone.sum())
    return BeatFit(
        fall=-slope,
        error=float(
            np.sqrt(
                (width / SIGMAS_95) ** 2
                + (weight * fits.variance).sum()
                + (_DOUBT_OF_PAIR * (slope - plain)) ** 2
            )
        ),
        at_zero=middle + float((weight * fits.at_zero).sum()),
        ripple=float(fits.ripple.flat[int(np.argmax(odds))]),
        early_db=float(np.exp(weight.sum(axis=0) @ np.log(_EARLY_DB))),
        early_log_odds=early_log_odds,
    )


def room_of_take(log_odds: Sequence[FloatArray]) -> FloatArray:
    """Return how likely each departure of the beginning is on a take, from some of its notes.

    A single short note hardly tells a room from its own fall; a take's notes share the room. The
    shares of a mixture (Dempster, Laird & Rubin, J. R. Stat. Soc. B 39, 1977), none of them
    ruled out.

    Parameters
    ----------
    log_odds
        `early_log_odds` of each note.
    """
    share: FloatArray = np.full(len(_EARLY_DB), 1.0 / len(_EARLY_DB))
    odds = np.exp(np.array(log_odds).reshape(-1, len(share)))
    for _ in range(_ROOM_ROUNDS):
        each = odds * share
        each /= each.sum(axis=1, keepdims=True)
        counts = each.sum(axis=0) + _ROOM_PSEUDO_NOTES
        share = counts / counts.sum()
    return share


def _middle(values: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """Return the weighted median, and half the width of what holds 95 % of the weight.

    Rare pairs that would change much are to count as rare: a variance would be theirs alone.
    """
    counts = weight > _LEAST_WEIGHT
    values, weight = values[counts], weight[counts]
    order = np.argsort(values)
    reached = np.cumsum(weight[order]) - 0.5 * weight[order]
    low, middle, high = np.interp(
        np.array([0.025, 0.5, 0.975]) * float(weight.sum()), reached, values[order]
    )
    return float(middle), 0.5 * float(high - low)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """A level at even times, its variance for each doubt about the beginning (rows)."""

    t: FloatArray
    level: FloatArray
    v: FloatArray
    n_free: float


def _weighed(
    seen: _Seen, first: int, *, length_s: float, periods: float
) -> tuple[_Lines, FloatArray]:
    """Return the lines for all likely pairs, one between those of the bank too, and their odds.

    `first` is the point of the bank at which the level begins.
    """
    bank = _bank()
    prior = _prior(periods)
    likely = slice(0, len(prior)), slice(first, None)
    fits = _lines(seen, bank.shapes[likely], bank.squares[likely])
    odds = fits.log_odds + prior[:, None]
    best, row = np.unravel_index(int(np.argmax(odds)), odds.shape)
    if fits.ripple[best, row] <= _GRID_DB or best == 0:
        return fits, odds
    part = seen.t / length_s
    start = float(bank.beats[best]), float(bank.second[best])
    pair = _refined(part, seen.level, start, 1.0 / seen.v[row])
    near = _shape(part, *pair)[None]
    fits = _both(fits, _lines(seen, near, near**2))
    moved = _likelihood(pair, periods) - _likelihood(start, periods)
    return fits, fits.log_odds + np.append(prior, prior[best] + moved)[:, None]


@dataclass(frozen=True, slots=True)
class _Lines:
    """Lines for each beat (rows) and doubt about the beginning (columns)."""

    slope: FloatArray
    at_zero: FloatArray
    variance: FloatArray
    ripple: FloatArray
    log_odds: FloatArray


def _bends(off: FloatArray, w: FloatArray) -> tuple[FloatArray, ...]:
    """Return a parabola and a cubic for each row of weights, at right angles to all below.

    `off` is the time from its weighted mean; the bends have an rms of about 1 over the note.
    """
    found: list[FloatArray] = []
    half = 0.5 * np.ptp(off, axis=1, keepdims=True)
    x = (off - 0.5 * (off.min(axis=1, keepdims=True) + off.max(axis=1, keepdims=True))) / half
    for order, size in ((2, _PARABOLA), (3, _CUBIC)):
        bent = x**order
        for base in (np.ones_like(off), off, *found):
            weighted = w * base
            ratio = (weighted * bent).sum(axis=1) / (weighted * base).sum(axis=1)
            bent = bent - ratio[:, None] * base
        found.append(bent * size)
    return tuple(found)


def _both(some: _Lines, more: _Lines) -> _Lines:
    pairs = ((getattr(some, f.name), getattr(more, f.name)) for f in fields(_Lines))
    return _Lines(*(np.concatenate(pair) for pair in pairs))


def _lines(seen: _Seen, shape: FloatArray, square: FloatArray) -> _Lines:
    """Return the weighted lines through a level less each shape, as matrix products.

    `square` are the shapes' squares. The scatter about a line is weighed against the expected
    one (a scaled inverse χ² prior), so that the odds are those of Student's t; a bend that may
    have any cause is taken off by what it is worth.
    """
    t, level, v, n_free = seen.t, seen.level, seen.v, seen.n_free
    w = 1.0 / v
    total = w.sum(axis=1)
    mean_t = w @ t / total
    off = t - mean_t[:, None]
    lever = (w * off**2).sum(axis=1)
    bearing = w * off / lever[:, None]
    slope = bearing @ level - shape @ bearing.T
    mean = (w @ level - shape @ w.T) / total
    squares = w @ level**2 - 2.0 * (shape @ (w * level).T) + square @ w.T
    miss = np.maximum(squares - total * mean**2 - lever * slope**2, 0.0)
    per_point = n_free / len(t)
    chi2 = miss * per_point
    spread = 0.5 * per_point * np.log(v).sum(axis=1) + 0.5 * np.log(total * lever)
    for bent in _bends(off, w):
        size = per_point * (w * bent**2).sum(axis=1) + 1.0 / _BENT_DB**2
        along = per_point * ((w * bent) @ level - shape @ (w * bent).T)
        chi2 = np.maximum(chi2 - along**2 / size, 0.0)
        spread = spread + 0.5 * np.log(size)
    free = max(n_free - 2.0, 0.0) + _USUAL_MISS_POINTS
    scale = (_USUAL_MISS_POINTS + chi2) / free
    return _Lines(
        slope=slope,
        at_zero=mean - slope * mean_t,
        variance=scale / (lever * per_point),
        ripple=np.sqrt(miss / total),
        log_odds=-0.5 * free * np.log1p(chi2 / _USUAL_MISS_POINTS) - spread,
    )


def _refined(
    part: FloatArray, level: FloatArray, start: tuple[float, float], w: FloatArray
) -> tuple[float, float]:
    """Return beats and second amplitude near `start` that a level follows best (Gauss-Newton).

    `part` is the time over the length of the note.
    """
    beats, second = start
    root = np.sqrt(w)
    for _ in range(_REFINING_ROUNDS):
        here = _shape(part, beats, second)
        slopes = np.stack(
            [
                np.ones(len(part)),
                part,
                (_shape(part, beats + _STEP, second) - here) / _STEP,
                (_shape(part, beats, second + _STEP) - here) / _STEP,
            ],
            axis=1,
        )
        move = np.linalg.lstsq(slopes * root[:, None], (level - here) * root, rcond=None)[0]
        beats = float(np.clip(beats + move[2], 0.8 * beats, 1.25 * beats))
        second = float(np.clip(second + np.clip(move[3], -0.1, 0.1), -_MOST_SECOND, _MOST_SECOND))
    return beats, second


def _shape(part: FloatArray, beats: Any, second: Any) -> FloatArray:
    """Return the level in dB that the second polarisation makes of a steady first one."""
    turn = 2.0 * np.pi * beats * part
    return np.asarray(power_to_db(1.0 + 2.0 * second * np.cos(turn) + second**2))


@dataclass(frozen=True, slots=True)
class _Bank:
    """Shapes over `_POINTS` points of the note, and the beats and second amplitude of each."""

    shapes: FloatArray
    squares: FloatArray
    beats: FloatArray
    second: FloatArray
    log_steps: FloatArray


@lru_cache(maxsize=1)
def _bank() -> _Bank:
    """Return the pairs that are looked for, the first of them a single polarisation."""
    beats, second = (a.ravel() for a in np.meshgrid(_BEATS, _SECONDS, indexing="ij"))
    beats, second = np.append(0.0, beats), np.append(0.0, second)
    part = (np.arange(_POINTS) + 0.5) / _POINTS
    shapes = _shape(part, beats[:, None], second[:, None])
    return _Bank(
        shapes=shapes,
        squares=shapes**2,
        beats=beats,
        second=second,
        # Beats are likely in proportion to the step between them.
        log_steps=np.log(np.repeat(np.gradient(_BEATS), len(_SECONDS))),
    )


def _prior(periods: float) -> FloatArray:
    """Return the log odds of the pairs that are likely in a note of so many periods.

    Those are the first of the bank: it rises by beats.
    """
    bank = _bank()
    most = max(_MOST_APART_CENTS / _CENTS * periods, 2.0 * _BEATS[0])
    n = 1 + len(_SECONDS) * int(np.searchsorted(_BEATS, most))
    log = bank.log_steps[: n - 1] + _likelihood((bank.beats[1:n], bank.second[1:n]), periods)
    log -= log.max()
    log += np.log((1.0 - _ONE_ALONE) / np.exp(log).sum())
    return np.append(np.log(_ONE_ALONE), log)


def _likelihood(pair: tuple[Any, Any], periods: float) -> Any:
    """Return the log of how likely beats and second amplitude are, up to a constant."""
    beats, second = pair
    apart = beats / periods * _CENTS / _USUAL_APART_CENTS
    unlikely = (_APART_TAIL + 1.0) * np.log1p(apart**2 / _APART_TAIL)
    return -0.5 * (unlikely + (second / _USUAL_SECOND) ** 2)
