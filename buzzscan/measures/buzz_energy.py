"""How much contact changes the sound: the energy by which a note differs from a free string.

Conventions
-----------
Energies of the parts of `PARTS_HZ`, from 55 to 600 ms after the onset, over the energy of the
whole note. Levels in dB.

Limits
------
What the string would have done freely is the trend of the clean notes of the take over the
neck, so a take with hardly any is compared with the simulated population. A string that lies
on a higher fret has no free vibration to be compared with: what is heard of it counts.

Notes
-----
Frets that push a string every period turn the phase of its partials within some periods. Two
vibrations of a frequency that have no phase in common differ by the sum of their energies (the
mean of their product is nought). So what contact makes is what is heard and what is missing: high
partials that a free string does not have, and low ones of which contact has robbed it. It counts
in so far as the partials are fresh: a free string's follow from their past.

That sum is right but for what a cue cannot show: how far contact turns the low partials, and how
long what it has pushed into a partial stays. Boosted trees (Friedman, Ann. Statist. 29, 2001) add
what they have learnt of it from the note's cues. What they learnt plainest is a rise of about a
decibel per octave of the first partial, which all models of a string have in common. They were
fitted to 4979 notes in persistent contact of the 1475 simulated takes that the probability of
contact comes from, of modal strings and of strings on a grid. In takes held out, true energy is
ranked by 0.88 instead of 0.83 (Spearman), and by 0.90 instead of 0.85 before doubt is taken off;
among strings along which waves travel, to which nothing was fitted, by 0.59 instead of 0.55, and
by 0.79 instead of 0.68. `tests/training` does it again.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from buzzscan.measures.buzz_cues import PARTS_HZ, Cues
from buzzscan.measures.buzz_numbers import LEAST_DB, MOST_DB, TREES
from buzzscan.measures.contact import Place, over_trends
from buzzscan.units import power_to_db

__all__ = ["buzz_levels_db", "doubt_db", "free_parts_db", "plain_level_db", "seen_by_trees"]

FloatArray = npt.NDArray[np.floating[Any]]

_LEAST_PART_DB = -80.0
"""A part below this is the recording's silence."""
_CLEAN_PARTS_DB = np.array([-16.0, -24.9, -37.7, -54.6])
"""Parts of the clean notes of simulated takes, mean: where the trend of a take starts from."""
_FRESH_TO_BUZZ_DB = 20.0
"""What contact has pushed into a partial stays there for many frames, so the part of its energy
that is due to contact is larger than what is fresh in one frame (simulated strings)."""
_LEAST_BUZZ_DB = -100.0
_NOTHING_DB = -200.0
_MISSING_COUNTS = 0.5
"""Contact turns the phase of the low partials in part only, so that not all that a free string
has there is changed (strings of both models: between 0, what is added alone, and 1, no common
phase at all)."""


def free_parts_db(cues: Sequence[Cues], places: Sequence[Place], contact: FloatArray) -> FloatArray:
    """Return the parts that each string would have had freely, shape (notes, parts).

    Parameters
    ----------
    cues, places
        Of each note, shape (n,).
    contact
        Probability of contact of each note, 0–1, shape (n,).
    """
    parts = np.array([c.part_db for c in cues]).reshape(-1, _CLEAN_PARTS_DB.size) - _CLEAN_PARTS_DB
    parts = np.maximum(parts, _LEAST_PART_DB - _CLEAN_PARTS_DB)
    excess = over_trends(parts, places, (1.0 - contact) ** 2)
    return np.asarray(parts - excess + _CLEAN_PARTS_DB)


def buzz_levels_db(
    cues: Sequence[Cues],
    *,
    contact: FloatArray,
    free_db: FloatArray,
    rests: npt.NDArray[np.bool_],
    tops_hz: Sequence[float],
) -> FloatArray:
    """Return the energy of buzz below some frequencies, shape (notes, frequencies).

    Less where contact is less likely than not.

    Parameters
    ----------
    cues
        Of each note.
    contact
        Its probability, 0–1, shape (notes,).
    free_db
        Parts that each string would have had freely, as `free_parts_db` has them.
    rests
        Whether the string lies on a higher fret, so that it has no free vibration.
    tops_hz
        Some of `PARTS_HZ`.
    """
    if not cues:
        return np.zeros((0, len(tops_hz)))
    energy = _part_energies(cues, np.where(rests[:, None], _NOTHING_DB, free_db))
    inside = np.asarray(PARTS_HZ[1:])[:, None] <= np.asarray(tops_hz)
    learnt = np.where(rests, 0.0, _learnt_db(cues, free_db))
    level = power_to_db(energy @ inside) + (doubt_db(contact) + learnt)[:, None]
    return np.asarray(np.maximum(level, _LEAST_BUZZ_DB))


def _learnt_db(cues: Sequence[Cues], free_db: FloatArray) -> FloatArray:
    """Return how far true buzz passes the sum of energies in strings that were simulated.

    It stays between the least and the most that was met in the fit: what a clean note looks like
    has not been learnt.

    Parameters
    ----------
    cues, free_db
        As in `buzz_levels_db`.
    """
    return np.clip(TREES.sums(seen_by_trees(cues, free_db)), LEAST_DB, MOST_DB)


def seen_by_trees(cues: Sequence[Cues], free_db: FloatArray) -> FloatArray:
    """Return the columns of the trees in `buzzscan.measures.buzz_numbers`, a row per note.

    Parameters
    ----------
    cues, free_db
        As in `buzz_levels_db`.
    """
    return np.column_stack(
        [
            np.array([c.part_fresh_db for c in cues]),
            free_db,
            _sum_db(np.array([c.part_db for c in cues])),
            _sum_db(free_db),
            plain_level_db(cues, free_db),
            np.array([c.fresh_share_db for c in cues]),
            np.log([c.first_partial_hz for c in cues]),
        ]
    )


def plain_level_db(cues: Sequence[Cues], free_db: FloatArray) -> FloatArray:
    """Return the level of the sum of energies in all parts, nothing learnt and nothing doubted.

    Parameters
    ----------
    cues, free_db
        As in `buzz_levels_db`.
    """
    return power_to_db(np.asarray(_part_energies(cues, free_db).sum(axis=1)))


def doubt_db(contact: FloatArray) -> FloatArray:
    """Return what is taken off where contact is less likely than not, from its probability."""
    # by the square of the odds: the highs of a clean string, however bright, are not faint buzz
    return 2.0 * power_to_db(np.asarray(contact / np.maximum(1.0 - contact, contact)))


def _part_energies(cues: Sequence[Cues], free_db: FloatArray) -> FloatArray:
    """Return what is heard and missing of each part, in so far as it is fresh."""
    heard = 10.0 ** (np.array([c.part_db for c in cues]) / 10.0)
    free = 10.0 ** (free_db / 10.0)
    fresh_db = np.minimum(np.array([c.part_fresh_db for c in cues]) + _FRESH_TO_BUZZ_DB, 0.0)
    return np.asarray((heard + _MISSING_COUNTS * free) * 10.0 ** (fresh_db / 10.0))


def _sum_db(parts_db: FloatArray) -> FloatArray:
    return power_to_db(np.asarray(np.sum(10.0 ** (parts_db / 10.0), axis=1)))
