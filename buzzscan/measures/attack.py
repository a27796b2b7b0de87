"""Whether a string touches a fret as it is picked, before anything that is called buzz.

Conventions
-----------
Two things tell. The excess of a note is what the levels of its attack pass those of its own
string's neighbouring frets by, in some spans and bands, a band's after its span's whole level is
taken off: how much brighter it starts, whatever the pick, the pickup and the room do to all of
them. And by `buzzscan.measures.continuation` an attack departs from what the note's own later sound
says it was.

Limits
------
A touch within the attack is the snap of a hard pick, and nobody calls it buzz. It tells where the
string comes near the frets: a fret that is high is touched from frets behind that ring clear, a
fret that is low leaves its neighbours alone.

Notes
-----
Boosted trees over the excess, how much it scatters in the take, the departures and the pitch,
fitted to 820 simulated takes by `tests/training/fit_attack.py`. 610 are modal strings over frets
that keep their energy, strings on a grid over lossy ones and, in 22, waves that a fret turns back;
210 are of three simulations that were written apart from this one and share nothing with it. Three
of five are whole necks under a player who digs in, with pick noise, picks that slip off the string
faster and slower, uneven picking, rooms and recorders drawn at random. Of one simulation that was
held out, 79 of 100 brief touches were found at one false alarm in a hundred, 73 by what is learnt
from ours alone. How fast a string slips off makes it start brighter or darker, as a touch does:
fitted to takes whose picks were all alike, the trees took a fifth to a third of such notes, free
ones, for likelier touches than not.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from buzzscan.measures.attack_numbers import TREES
from buzzscan.measures.contact import Place, logistic
from buzzscan.measures.continuation import continuation_figures
from buzzscan.recording import Samples
from buzzscan.units import power_to_db

__all__ = [
    "EDGES_HZ",
    "SPANS_S",
    "Attack",
    "attack_excess",
    "attack_levels_db",
    "hear_attack",
    "touch_columns",
    "touch_probabilities",
]

FloatArray = npt.NDArray[np.floating[Any]]

SPANS_S = ((0.0, 0.012), (0.008, 0.03), (0.028, 0.055), (0.05, 0.1))
"""Of the attack: the pick's click with the first strikes, two without it, and what they leave."""
EDGES_HZ = (350.0, 700.0, 1400.0, 2200.0, 3200.0, 4500.0, 6400.0, 9000.0, 13000.0)
_LEAST_SAMPLES = 128
_FFT_S = 0.09
_FLOOR = 1e-16
_REACH_FRETS = 5
"""A string's brightness is taken to change evenly over this many frets to either side."""
_LEAST_NEIGHBOURS = 4
_STEADY = 0.3
"""Weight of a level trend without a slope, in notes."""
_CONTACT_COUNTS = 0.1
"""A note in contact counts for this much of the trend."""
_USUAL_INHARMONICITY = 1e-4
"""B of a plain third string about its middle: where a note does not tell its own, partials are
looked for a few cents off, which is the same in all looks."""
_ROUNDS = 3
_LEAST_SPREAD_DB = 0.3
_MOST_EXCESS_DB = 30.0


class Attack(NamedTuple):
    """What is heard of a note's attack.

    Parameters
    ----------
    levels_db
        As `attack_levels_db` has them.
    figures
        As `continuation_figures` has them.
    first_partial_hz
        As it sounds.
    """

    levels_db: FloatArray
    figures: FloatArray
    first_partial_hz: float


def hear_attack(
    after: Samples, *, sample_rate_hz: int, first_partial_hz: float, inharmonicity: float | None
) -> Attack:
    """Return what is heard of a note's attack.

    Parameters
    ----------
    after
        Samples from the onset on.
    inharmonicity
        B of the string, None where it is not told.
    """
    figures = continuation_figures(
        after,
        sample_rate_hz=sample_rate_hz,
        first_partial_hz=first_partial_hz,
        inharmonicity=_USUAL_INHARMONICITY if inharmonicity is None else inharmonicity,
    )
    levels_db = attack_levels_db(after, sample_rate_hz=sample_rate_hz)
    return Attack(levels_db, figures, first_partial_hz)


def attack_levels_db(after: Samples, *, sample_rate_hz: int) -> FloatArray:
    """Return the levels of a note's attack, NaN in spans that it does not reach.

    Parameters
    ----------
    after
        Samples from the onset on.

    Returns
    -------
    array of shape (spans × (1 + bands),)
    """
    n_fft, ends = _bins(sample_rate_hz)
    parts = np.zeros((len(SPANS_S), n_fft))
    told = np.zeros(len(SPANS_S), np.bool_)
    for i, (start_s, stop_s) in enumerate(SPANS_S):
        part = after[round(start_s * sample_rate_hz) : round(stop_s * sample_rate_hz)]
        if len(part) >= _LEAST_SAMPLES:
            parts[i, : len(part)] = part * _window(len(part))
            told[i] = True
    spectra = np.fft.rfft(parts)
    sums = np.zeros((len(SPANS_S), spectra.shape[1] + 1))
    np.cumsum(spectra.real**2 + spectra.imag**2, axis=1, out=sums[:, 1:])
    powers = np.concatenate([sums[:, -1:], np.diff(sums[:, ends])], axis=1)
    return np.asarray(np.where(told[:, None], power_to_db(powers + _FLOOR), np.nan).ravel())


@lru_cache(maxsize=8)
def _bins(sample_rate_hz: int) -> tuple[int, npt.NDArray[np.intp]]:
    """Return the length of the transform, and the bins at which bands begin and end."""
    n_fft = 1 << round(np.log2(_FFT_S * sample_rate_hz))
    hz = np.fft.rfftfreq(n_fft, 1.0 / sample_rate_hz)
    return n_fft, np.searchsorted(hz, EDGES_HZ)


@lru_cache(maxsize=64)
def _window(n: int) -> FloatArray:
    """Return a Hann window over its length: what is heard through it does not depend on that."""
    return np.asarray(np.hanning(n) / n)


def attack_excess(
    levels_db: FloatArray, places: Sequence[Place], contact: FloatArray
) -> FloatArray:
    """Return by how much each note's attack passes that of its string's neighbouring frets.

    Parameters
    ----------
    levels_db
        As `attack_levels_db` has them, shape (notes, levels).
    places
        Of each note.
    contact
        Probability that the string strikes after the attack, shape (notes,).

    Returns
    -------
    array of shape (notes, levels)
        In dB; 0 where nothing is known, NaN for notes with too few neighbours.
    """
    out = np.full(levels_db.shape, np.nan)
    held = np.array(places, np.intp).reshape(-1, 3)
    weight = 1.0 - (1.0 - _CONTACT_COUNTS) * np.nan_to_num(contact)
    for take, string in sorted({(p.take, p.string) for p in places}):
        rows = np.flatnonzero((held[:, 0] == take) & (held[:, 1] == string))
        out[rows] = _over_neighbours(levels_db[rows], held[rows, 2], weight[rows])
    whole, bands = np.split(out.reshape(len(out), len(SPANS_S), -1), [1], axis=-1)
    excess = np.concatenate([whole, bands - whole], axis=-1).reshape(out.shape)
    return np.asarray(np.clip(excess, -_MOST_EXCESS_DB, _MOST_EXCESS_DB))


def _over_neighbours(
    levels: FloatArray, frets: npt.NDArray[np.intp], own: FloatArray
) -> FloatArray:
    """Return levels less a line through those of the neighbouring frets, NaN where too few are.

    Neighbours that lie off the line count for less.
    """
    levels = np.where(np.isfinite(levels), levels, _middle(levels))
    each, fret_of = np.unique(frets, return_inverse=True)
    off = (frets[None, :] - each[:, None]) / _REACH_FRETS
    near = (np.abs(off) <= 1.0) & (off != 0.0)
    told = near.sum(axis=1) >= _LEAST_NEIGHBOURS
    middles = np.full((each.size, levels.shape[1]), np.nan)
    if not told.any():
        return np.asarray(levels - middles[fret_of])
    off, near = off[told], near[told]
    weight = near * own
    for _ in range(_ROUNDS):
        flat, bent = weight @ levels, (weight * off) @ levels
        s0, s1, s2 = (np.sum(weight * off**k, axis=1)[:, None] for k in range(3))
        s2 = s2 + _STEADY
        scale = 1.0 / (s0 * s2 - s1**2)
        start, slope = scale * (s2 * flat - s1 * bent), scale * (s0 * bent - s1 * flat)
        line = start[:, None, :] + off[:, :, None] * slope[:, None, :]
        miss = np.abs(levels[None, :, :] - line).mean(axis=-1)
        usual = np.nanmedian(np.where(near, miss, np.nan), axis=1, keepdims=True)
        weight = near * own / (1.0 + (miss / (usual + _LEAST_SPREAD_DB)) ** 2)
    middles[told] = start
    return np.asarray(levels - middles[fret_of])


def _middle(levels: FloatArray) -> FloatArray:
    """Return the median of each column over what is known of it, 0 where nothing is."""
    known = [column[np.isfinite(column)] for column in levels.T]
    return np.array([float(np.median(k)) if k.size else 0.0 for k in known])


def touch_columns(
    attacks: Sequence[Attack], places: Sequence[Place], contact: FloatArray
) -> FloatArray:
    """Return what a touch is told by, one row per note.

    Parameters
    ----------
    attacks, places
        Of each note.
    contact
        Probability that the string strikes after the attack, shape (notes,).

    Returns
    -------
    array of shape (notes, columns)
        The excess, its middle size among the notes of the take, the figures of the continuation and
        the pitch in octaves; all NaN for notes with too few neighbours and for those too short.
    """
    excess = attack_excess(np.array([a.levels_db for a in attacks]), places, contact)
    scatter = np.full_like(excess, np.nan)
    takes = np.array([place.take for place in places])
    told = np.isfinite(excess).all(axis=1)
    for take in np.unique(takes[told]):
        mine = takes == take
        scatter[mine] = np.median(np.abs(excess[mine & told]), axis=0)
    figures = np.array([a.figures for a in attacks])
    octaves = np.log2([a.first_partial_hz for a in attacks])
    columns = np.column_stack([excess, scatter, figures, octaves])
    columns[~np.isfinite(columns).all(axis=1)] = np.nan
    return columns


def touch_probabilities(
    attacks: Sequence[Attack], places: Sequence[Place], contact: FloatArray
) -> FloatArray:
    """Return the probability, at even odds, that each string touches a fret in its attack.

    Parameters are those of `touch_columns`; NaN for notes that it does not tell.
    """
    out = np.full(len(places), np.nan)
    if not places:
        return out
    columns = touch_columns(attacks, places, contact)
    known = np.isfinite(columns[:, 0])
    out[known] = logistic(TREES.sums(columns[known]))
    return out
