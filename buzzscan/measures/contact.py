"""From cues to the probability that the string strikes a fret after the attack.

Conventions
-----------
Two looks. The first judges each note by itself, by what no free string does. The second
compares it with the clean notes of the same take: a smooth trend of every cue over the neck,
in which a note counts the less the more it looks like contact. What the recording does to all
notes alike (room, codec, compressor, old strings) is in the trend and cancels out.

Limits
------
A take with few clean notes is compared mostly with the simulated population that the numbers
come from.

Notes
-----
The first look is a logistic regression, the second boosted trees of up to 7 splits (Friedman, Ann.
Statist. 29, 2001) that can only rise with each cue of fresh power: a sum of small steps, each
weighing a few cues by one another. Beside the cues they see how far the attack departs from what
the later sound, run backwards, says it was (`buzzscan.measures.continuation`): a string that goes
on striking is not linear. They were fitted to 1215 takes of guitars and basses of 4 to 7 strings
drawn at random (setup, faults, strings, pluck, pickup or body, phantom partials, room, noise, hum,
phone, codec, compressor, saturation, squeaks, pace from 0.17 s), one in three of them whole necks
under a player who digs in, their notes as the analysis finds them; by modal strings over frets that
keep their energy, strings on a grid over lossy ones and, one in eight, waves that a fret turns
back. To 266 takes of five simulations that were written apart from this one and share nothing with
it: of two that were held out in turn, 96 and 68 of 100 struck notes by pickup were found at 1 and
13 false in a thousand free ones, three in four of the latter on two strings whose upper partials
beat fast; of the fifth, whose pickups are not linear, 5 in a thousand were false, and 2 where half
of its takes were fitted to and the others held out. And to clean notes of four real guitars and a
bass from open sample sets (MIT, CC0 and CC BY), strung together in 97 takes, in rooms and noise
too, which simulated strings are tidier than. Clean is what touches no fret after the attack,
contact what goes on striking for 0.2 s or most of the note. Notes in contact count three times: the
probability is that of a guitar brought in for buzz. What the cues are read by is blurred for the
fit, lest a guitar be known by its pitches, and the continuation of every other note is withheld,
lest the rest go unheard. `tests/training` does it again; the real notes and the other simulations
are not in the project.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from buzzscan.measures.buzz_cues import Cues
from buzzscan.measures.contact_numbers import (
    ALONE,
    COMPARED,
    FIRST_BIAS,
    FIRST_SLOPES,
    TREES,
    Range,
)

__all__ = [
    "CAUTION",
    "ROUNDS",
    "Place",
    "contact_probabilities",
    "known_figures",
    "log_odds",
    "logistic",
    "over_trend",
    "over_trends",
]

FloatArray = npt.NDArray[np.floating[Any]]

CAUTION = 0.5
"""Added to the log odds when notes are weighed for the trend: a struck note in the trend does
more harm than a clean note left out."""
_PRIOR_NOTES = 8.0
"""How many notes the simulated population counts for."""
ROUNDS = 2
"""How often notes are weighed anew for the trend."""
_MIDDLE_FRET = 10.0
_MIDDLE_SQUARE = 0.3
"""Mean of ((fret − 10)/10)² over a neck, so that the bent term has no mean."""


class Place(NamedTuple):
    """Where and in which take a note was played."""

    take: int
    string: int
    fret: int


def contact_probabilities(
    cues: Sequence[Cues], places: Sequence[Place], figures: FloatArray
) -> FloatArray:
    """Return the probability of contact after the attack, 0–1, per note.

    Parameters
    ----------
    cues, places
        Of each note, shape (n,).
    figures
        As `continuation_figures` has them, shape (n, N_FIGURES); NaN for notes too short.
    """
    if not cues:
        return np.zeros(0)
    values = np.array([[_value(cue, r) for r in COMPARED] for cue in cues])
    alone = np.array([[_value(cue, r) for r in ALONE] for cue in cues])
    figures = known_figures(figures)
    odds = values[:, : FIRST_SLOPES.size] @ FIRST_SLOPES + FIRST_BIAS
    for _ in range(ROUNDS):
        clean = (1.0 - logistic(odds + CAUTION)) ** 2
        excess = over_trends(values, places, clean)
        odds = TREES.sums(np.concatenate([values, alone, excess, figures], axis=1))
    return logistic(odds)


def known_figures(figures: FloatArray) -> FloatArray:
    """Return figures with 0 dB, which no continuation gives, for those of notes too short."""
    return np.asarray(np.nan_to_num(figures))


def _value(cues: Cues, r: Range) -> float:
    """Return a cue within its range, about its mean among clean notes."""
    value = getattr(cues, r.cue)
    value = value if r.third is None else value[r.third]
    if r.logarithm:
        value = float(np.log(value + 0.1))
    return min(max(float(value), r.low), r.high) - r.mean


def over_trends(values: FloatArray, places: Sequence[Place], clean: FloatArray) -> FloatArray:
    """Return by how much each value passes the trend of its take, as `over_trend` has it."""
    excess = np.empty_like(values)
    takes = np.array([place.take for place in places])
    for take in np.unique(takes):
        rows = np.flatnonzero(takes == take).tolist()
        excess[rows] = over_trend(values[rows], [places[r] for r in rows], clean[rows])
    return excess


def over_trend(values: FloatArray, places: Sequence[Place], clean: FloatArray) -> FloatArray:
    """Return by how much each cue passes the trend of the take's clean notes.

    Parameters
    ----------
    values
        Cues about their means, shape (notes, cues).
    places
        Of each note, all of one take.
    clean
        How much each note counts for the trend, 0–1, shape (notes,).
    """
    fret = (np.array([place.fret for place in places]) - _MIDDLE_FRET) / 10.0
    string = np.array([place.string for place in places])
    terms = np.column_stack(
        [np.ones(fret.size), fret, fret**2 - _MIDDLE_SQUARE, string[:, None] == np.unique(string)]
    ).astype(np.float64)
    prior = np.full(terms.shape[1], 0.5 * _PRIOR_NOTES)
    prior[0] = _PRIOR_NOTES
    weighted = terms * clean[:, None]
    trend = np.linalg.solve(terms.T @ weighted + np.diag(prior), weighted.T @ values)
    return np.asarray(values - terms @ trend)


def logistic(x: FloatArray) -> FloatArray:
    """Return the probabilities of log odds, any shape."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0))))


def log_odds(probability: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return the log odds of probabilities between 0 and 1, any shape."""
    share = np.asarray(probability, np.float64)
    return np.asarray(np.log(share / (1.0 - share)))
