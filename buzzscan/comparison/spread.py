"""What change of buzz is more than chance: the spread of the passes, pooled over both takes.

Conventions
-----------
Up and down passes are repeated looks at one position. Their variance is pooled over all
positions in contact, because a single pair says little about its own spread.

Limits
------
The variance is shrunk towards what is usual where few positions were played twice (moderated
t: Smyth, Stat. Appl. Genet. Mol. Biol. 3, 2004).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from buzzscan.comparison.places import middle_contact, values_by_place
from buzzscan.neck.verdict import Position
from buzzscan.scanning import Scan

__all__ = ["Spread", "spread_of"]

USUAL_SD_DB, USUAL_WEIGHT = 2.5, 4.0
"""Standard deviation of buzz from note to note, uneven picking included, and how many positions
it counts for (common practice, no source)."""
CHANCE = 0.01
"""Two-sided, per position: of a hundred unchanged positions in contact one may seem changed."""
SMALLEST_CHANGE_DB = 3.0
"""A change below this is not called one however steady the passes were: twice the energy is a
clear step for the ear (common practice, no source)."""
SURE_CONTACT = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Pooled spread of the buzz level between passes.

    Parameters
    ----------
    sd_db
        Standard deviation of one note.
    freedom
        Degrees of freedom it was got from.
    """

    sd_db: float
    freedom: float

    def least_change_db(self, n_before: int, n_after: int) -> float:
        """Return the change of a position that is more than chance.

        Parameters
        ----------
        n_before, n_after
            Judged notes of the position in each take, at least 1.
        """
        from scipy.special import stdtrit

        error = self.sd_db * float(np.sqrt(1.0 / max(n_before, 1) + 1.0 / max(n_after, 1)))
        return max(SMALLEST_CHANGE_DB, float(stdtrit(self.freedom, 1.0 - CHANCE / 2.0)) * error)


def spread_of(scans: Iterable[Scan]) -> Spread:
    """Return the spread of the buzz level, pooled over the positions of the scans in contact."""
    squares, passes = 0.0, 0
    for scan in scans:
        levels = values_by_place(scan, lambda n: n.buzz_db)
        for p in scan.positions:
            values = levels.get((p.string, p.fret), [])
            if len(values) > 1 and _in_contact(scan, p):
                squares += float(np.sum((np.array(values) - np.mean(values)) ** 2))
                passes += len(values) - 1
    freedom = passes + USUAL_WEIGHT
    variance = (squares + USUAL_WEIGHT * USUAL_SD_DB**2) / freedom
    return Spread(sd_db=float(np.sqrt(variance)), freedom=freedom)


def _in_contact(scan: Scan, position: Position) -> bool:
    """Return whether the passes strike: one that does and one that does not differ by more."""
    return position.buzz in {"slight", "buzz"} and middle_contact(scan, position) >= SURE_CONTACT
