"""How far an attack departs from what the string's later sound says it was.

Conventions
-----------
A string that touches nothing is linear: every partial falls and turns at its own rate, so two
looks at the later sound tell, run backwards, what the attack was. A strike moves energy from
partial to partial, and what was before it does not continue in what comes after. Partials are
taken in groups; levels are in dB.

Limits
------
What the pick adds of its own, a string that beats, and a room that still answers the note before
depart as well, on all notes alike; who weighs the figures has to know by how much. A string goes
sharp by a few cents as it is picked hard and glides back: that turns all partials by an angle that
grows with their number, which is allowed for.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from buzzscan.partials import partial_ratios
from buzzscan.recording import Samples
from buzzscan.units import power_to_db

__all__ = ["N_FIGURES", "continuation_figures"]

FloatArray = npt.NDArray[np.floating[Any]]
ComplexArray = npt.NDArray[np.complexfloating[Any, Any]]

_GROUPS = ((1, 1), (2, 2), (3, 3), (4, 5), (6, 8), (9, 12), (13, 18), (19, 30))
_TOP_HZ, _NYQUIST_SHARE = 6000.0, 0.9
_EARLY_S = (0.0, 0.012, 0.025)
"""Where the looks at the attack begin."""
_LATE_S, _STEP_S, _LEAST_STEP_S = 0.06, 0.05, 0.02
"""Where the first look at the later sound begins, and the step to the second: less in a note that
ends before."""
_LEAST_LOOK_S, _LOOK_PERIODS = 0.03, 3.2
"""How long a look is: partials are parted from three periods on."""
_PADDED = 2
_FALL_BOUNDS = (0.05, 1.3)
"""A partial keeps this much from one late look to the next: less is lost in noise, and more is
beating."""
_TURNS = np.linspace(-0.5, 0.5, 41)
"""Angles per number of the partial that a glide is looked for among, in radians."""
_FLOOR = 1e-16
_KINDS = 4
N_FIGURES = len(_EARLY_S) * (_KINDS * len(_GROUPS) + 1) + 2 * len(_GROUPS)


class _Looks(NamedTuple):
    """Where the looks at a note begin, and how many samples each takes."""

    begin: tuple[int, ...]
    n: int


def continuation_figures(
    after: Samples, *, sample_rate_hz: int, first_partial_hz: float, inharmonicity: float
) -> FloatArray:
    """Return how far a note's attack departs from the continuation of its later sound, backwards.

    Parameters
    ----------
    after
        Samples from the onset on.
    first_partial_hz
        As it sounds.
    inharmonicity
        B of partial n = n·f0·√(1 + B·n²).

    Returns
    -------
    array of shape (N_FIGURES,)
        For each look at the attack: what departs, of each group's own power; the same when a glide
        is allowed for; that of the power of all groups; of levels alone; and the glide's angle.
        Then the share of each group in the later sound, and its fall. 0 for groups that the
        recording does not reach; all NaN where the note is too short.
    """
    looks = _looks(len(after), sample_rate_hz, first_partial_hz)
    if looks is None:
        return np.full(N_FIGURES, np.nan)
    f_hz = _partials_hz(first_partial_hz, inharmonicity, _NYQUIST_SHARE * 0.5 * sample_rate_hz)
    seen = _seen(after, looks, f_hz, sample_rate_hz)
    early, first, second = seen[:-2], seen[-2], seen[-1]
    begin = np.array(looks.begin)
    fall = second / (first + _FLOOR)
    fall *= np.clip(np.abs(fall), *_FALL_BOUNDS) / (np.abs(fall) + _FLOOR)
    back = (begin[-2] - begin[:-2]) / (begin[-1] - begin[-2])
    with np.errstate(divide="ignore"):
        rate = np.log(np.abs(fall) + _FLOOR) + 1j * np.angle(fall)
    told = first * np.exp(-np.outer(back, rate))
    departure = _departure(early, told)
    later = _of_groups(np.abs(first) ** 2)
    share = power_to_db(later / (later.sum() + _FLOOR) + _FLOOR)
    slope = power_to_db(_of_groups(np.abs(second) ** 2) / (later + _FLOOR) + _FLOOR)
    reached = np.array([low <= f_hz.size for low, _ in _GROUPS])
    late = np.where(reached, np.stack([share, slope]), 0.0)
    return np.concatenate([departure.ravel(), late.ravel()])


def _looks(n_samples: int, rate_hz: int, first_hz: float) -> _Looks | None:
    """Return where to look, None where the note ends too soon."""
    length_s = max(_LEAST_LOOK_S, _LOOK_PERIODS / first_hz)
    n = round(length_s * rate_hz)
    first = round(_LATE_S * rate_hz)
    second = min(first + round(_STEP_S * rate_hz), n_samples - n)
    if second - first < round(_LEAST_STEP_S * rate_hz):
        return None
    return _Looks((*(round(s * rate_hz) for s in _EARLY_S), first, second), n)


def _partials_hz(first_hz: float, inharmonicity: float, most_hz: float) -> FloatArray:
    number = np.arange(1, _GROUPS[-1][1] + 1)
    f_hz = first_hz * number * partial_ratios(number, inharmonicity)
    return np.asarray(f_hz[f_hz < min(_TOP_HZ, most_hz)])


def _seen(after: Samples, looks: _Looks, f_hz: FloatArray, rate_hz: int) -> ComplexArray:
    """Return each partial in each look, turned back to the onset: (looks, partials).

    The nearest bin will do: a bin beside the partial takes the same off all looks.
    """
    window = _window(looks.n)
    n_fft = 1 << int(np.ceil(np.log2(_PADDED * looks.n)))
    parts = np.stack([after[b : b + looks.n] * window for b in looks.begin])
    bins = np.minimum(np.rint(f_hz * n_fft / rate_hz).astype(np.intp), n_fft // 2)
    spectra = np.fft.rfft(parts, n_fft)[:, bins]
    # as if each look were timed at its middle
    middle = 0.5 * (looks.n - 1)
    spectra *= np.exp(2j * np.pi * bins * middle / n_fft)
    turned = np.outer((np.array(looks.begin) + middle) / rate_hz, f_hz)
    return np.asarray(spectra * np.exp(-2j * np.pi * turned))


@lru_cache(maxsize=128)
def _window(n: int) -> FloatArray:
    window = np.hanning(n)
    return np.asarray(2.0 * window / window.sum())


def _of_groups(power: FloatArray) -> FloatArray:
    """Return the sums of the groups over the last axis."""
    padded = np.zeros((*power.shape[:-1], _GROUPS[-1][1]))
    padded[..., : power.shape[-1]] = power
    return np.asarray(np.add.reduceat(padded, [low - 1 for low, _ in _GROUPS], axis=-1))


@lru_cache(maxsize=64)
def _rotations(n: int) -> ComplexArray:
    return np.asarray(np.exp(-1j * np.outer(np.arange(1, n + 1), _TURNS)))


def _departure(early: ComplexArray, told: ComplexArray) -> FloatArray:
    """Return the figures of each look at the attack, shape (looks, kinds × groups + 1)."""
    n = early.shape[-1]
    across = early * np.conj(told)
    # the root keeps the strongest partial from settling the angle alone
    fits = ((across / (np.sqrt(np.abs(across)) + _FLOOR)) @ _rotations(n)).real
    turn = _TURNS[np.argmax(fits, axis=1)]
    unbent = early * np.exp(-1j * np.outer(turn, np.arange(1, n + 1)))
    power = np.abs(told) ** 2, np.abs(early) ** 2
    own = _of_groups(power[0]) + _of_groups(power[1]) + _FLOOR
    whole = own.sum(axis=-1, keepdims=True)
    off = _of_groups(np.abs(early - told) ** 2)
    unbent_off = _of_groups(np.abs(unbent - told) ** 2)
    levels_off = _of_groups((np.abs(early) - np.abs(told)) ** 2)
    ratios = np.stack(
        [off / own, unbent_off / own, unbent_off / whole, levels_off / whole],
        axis=1,
    )
    reached = np.array([low <= n for low, _ in _GROUPS])
    figures = np.where(reached, power_to_db(ratios + _FLOOR), 0.0)
    return np.concatenate([figures.reshape(len(early), -1), turn[:, None]], axis=1)
