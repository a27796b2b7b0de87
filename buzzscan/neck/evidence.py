"""What the positions say about contact, as arrays for the search for its cause.

Conventions
-----------
Arrays have the shape (strings, frets + 1), string 1 first, fret 0 first. A place with nothing
to say is NaN inside this package and never leaves it.

Limits
------
Two passes over one place share its fret, so they count for less than two independent looks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.neck.verdict import Position

__all__ = ["Evidence", "evidence_of"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Contact over the neck.

    Parameters
    ----------
    contact
        Probability of contact; NaN where nothing was judged.
    level_db
        `buzz_db` where it was measured.
    rests
        How many frets ahead the string rests, from the pitch it sounds; 0 where it does not.
    choked
        Whether the note chokes, with or without a pitch of its own.
    """

    contact: FloatArray
    level_db: FloatArray
    rests: npt.NDArray[np.int64]
    choked: npt.NDArray[np.bool_]


def evidence_of(
    guitar: Guitar, positions: Sequence[Position], *, offset_cents: float
) -> Evidence:
    """Return the contact evidence of all positions as arrays."""
    shape = (guitar.n_strings, guitar.frets + 1)
    contact, level = np.full(shape, np.nan), np.full(shape, np.nan)
    rests, choked = np.zeros(shape, np.int64), np.zeros(shape, np.bool_)
    for position in positions:
        at = position.string - 1, position.fret
        if position.contact is not None:
            contact[at] = position.contact
        if position.buzz_db is not None:
            level[at] = position.buzz_db
        if position.buzz == "choked":
            choked[at] = True
            contact[at] = 1.0
            if position.cents is not None:
                rests[at] = max(round((position.cents - offset_cents) / 100.0), 0)
    return Evidence(contact=contact, level_db=level, rests=rests, choked=choked)
