"""From cues to the probability that the string strikes a fret after the attack.

Conventions
-----------
Two looks. The first judges each note by itself, by what no free string does. The second
compares it with the clean notes of the same take: a smooth trend of every cue over the neck,
in which a note counts the less the more it looks like contact. What the recording does to all
notes alike (room, codec, compressor, old strings) is in the trend and cancels out.

Limits
------
A take with few clean notes is compared mostly with the simulated population that the weights
come from.

Notes
-----
The weights are a logistic regression over two independent simulations of a string over frets
(modal, with a penalty contact and with an energy-conserving one), 240 and 140 guitars of
4 to 7 strings drawn at random: setup, faults, strings, pluck, pickup or body, room, noise,
hum, phone, codec, compressor, saturation, squeaks, pace from 0.15 s, boundaries off by up to
15 ms. Whole guitars were held out to choose the cues.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from buzzscan.measures.buzz_cues import Cues
from buzzscan.measures.contact_weights import FIRST, FIRST_BIAS, SECOND, SECOND_BIAS, Weight

__all__ = ["Place", "contact_probabilities"]

FloatArray = npt.NDArray[np.floating[Any]]

_SUSPICION = 1.5
"""A note whose first probability passes 1/1.5 does not count for the trend at all."""
_PRIOR_NOTES = 8.0
"""How many notes the simulated population counts for."""
_ROUNDS = 2
_MIDDLE_FRET = 10.0
_MIDDLE_SQUARE = 0.3
"""Mean of ((fret − 10)/10)² over a neck, so that the bent term has no mean."""


class Place(NamedTuple):
    """Where and in which take a note was played."""

    take: int
    string: int
    fret: int


def contact_probabilities(cues: Sequence[Cues], places: Sequence[Place]) -> FloatArray:
    """Return the probability of contact after the attack, 0–1, per note.

    Parameters
    ----------
    cues
        Of each note, shape (n,).
    places
        Of each note, shape (n,).
    """
    if not cues:
        return np.zeros(0)
    values = np.stack([_values(cue) for cue in cues])
    probability = _logistic(values @ _slopes(FIRST) + FIRST_BIAS)
    takes = np.array([place.take for place in places])
    for _ in range(_ROUNDS):
        clean = np.clip(1.0 - _SUSPICION * probability, 0.0, 1.0) ** 2
        excess = np.empty_like(values)
        for take in np.unique(takes):
            rows = np.flatnonzero(takes == take).tolist()
            excess[rows] = _over_trend(values[rows], [places[r] for r in rows], clean[rows])
        both = np.concatenate([values, excess], axis=1)
        probability = _logistic(both @ _slopes(SECOND) + SECOND_BIAS)
    return probability


def _values(cues: Cues) -> FloatArray:
    """Return the cues in the order of the weights, each within its range, about its mean."""
    out = np.empty(len(FIRST))
    for i, weight in enumerate(FIRST):
        value = getattr(cues, weight.cue)
        value = value if weight.third is None else value[weight.third]
        if weight.logarithm:
            value = float(np.log(value + 0.1))
        out[i] = np.clip(value, weight.low, weight.high) - weight.mean
    return out


def _slopes(weights: tuple[Weight, ...]) -> FloatArray:
    return np.array([weight.slope for weight in weights])


def _over_trend(values: FloatArray, places: list[Place], clean: FloatArray) -> FloatArray:
    """Return by how much each cue passes the trend of the take's clean notes."""
    fret = (np.array([place.fret for place in places]) - _MIDDLE_FRET) / 10.0
    string = np.array([place.string for place in places])
    strings = np.unique(string)
    terms = np.column_stack(
        [np.ones(fret.size), fret, fret**2 - _MIDDLE_SQUARE, string[:, None] == strings]
    ).astype(np.float64)
    prior = np.full(terms.shape[1], 0.5 * _PRIOR_NOTES)
    prior[0] = _PRIOR_NOTES
    weighted = terms * clean[:, None]
    trend = np.linalg.solve(terms.T @ weighted + np.diag(prior), weighted.T @ values)
    return np.asarray(values - terms @ trend)


def _logistic(x: FloatArray) -> FloatArray:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0))))
