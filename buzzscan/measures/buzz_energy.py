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
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from buzzscan.measures.buzz_cues import PARTS_HZ, Cues
from buzzscan.measures.contact import Place, over_trends

__all__ = ["buzz_level_db", "free_parts_db"]

FloatArray = npt.NDArray[np.floating[Any]]

_LEAST_PART_DB = -80.0
"""A part below this is the recording's silence."""
_CLEAN_PARTS_DB = np.array([-16.0, -24.9, -37.7, -54.6])
"""Parts of the clean notes of simulated takes, mean: where the trend of a take starts from."""
_FRESH_TO_BUZZ_DB = 20.0
"""What contact has pushed into a partial stays there for many frames, so the part of its energy
that is due to contact is larger than what is fresh in one frame (simulated strings)."""
_LEAST_BUZZ_DB = -100.0
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


def buzz_level_db(
    cues: Cues, *, contact: float, free_db: FloatArray | None, up_to_hz: float
) -> float:
    """Return the energy of buzz below a frequency: less where contact is less likely than not.

    Parameters
    ----------
    cues
        Of the note.
    contact
        Its probability, 0–1.
    free_db
        Parts that the string would have had freely, None where it lies on a higher fret.
    up_to_hz
        One of `PARTS_HZ`.
    """
    heard = 10.0 ** (np.asarray(cues.part_db) / 10.0)
    free = np.zeros(heard.size) if free_db is None else 10.0 ** (free_db / 10.0)
    fresh_db = np.minimum(np.asarray(cues.part_fresh_db) + _FRESH_TO_BUZZ_DB, 0.0)
    energy = (heard + _MISSING_COUNTS * free) * 10.0 ** (fresh_db / 10.0)
    inside = np.asarray(PARTS_HZ[1:]) <= up_to_hz
    # by the square of the odds: the highs of a clean string, however bright, are not faint buzz
    doubt = (contact / max(1.0 - contact, contact)) ** 2
    return max(10.0 * float(np.log10(doubt * np.sum(energy[inside]))), _LEAST_BUZZ_DB)
