"""How far the strings swung, told by the glide of their attacks: what no gain can change.

Conventions
-----------
A string that swings far is stretched, and its pitch at the onset is sharp by an amount that goes
with the square of the swing (Legge and Fletcher, J. Acoust. Soc. Am. 76, 1984): half the swing
leaves a quarter of the glide. One note hardly shows it, a hundred do. Only places that are clean
in both takes count.

Limits
------
It is used as a doubt and never as a proof: it can say that a take was picked otherwise, not that
it was picked alike. A finger whose pressure changes glides too; over a hundred notes that evens
out, and what is left of it counts as scatter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.comparison.places import middles
from buzzscan.comparison.result import Pick
from buzzscan.neck.positions import Place
from buzzscan.scanning import Scan
from buzzscan.units import MAD_TO_SIGMA

__all__ = ["Swing", "swing_of"]

FloatArray = npt.NDArray[np.float64]

FEWEST_PLACES = 20
CLEAR_DB = 3.0
"""The change of the swing that is told: as for the level, `comparison.strength`."""
UNCHANGED_DB = 1.0
SIGMAS = 3.0
"""The glide has to be this many standard errors off that of a swing changed by `UNCHANGED_DB`."""
_WIDEST = 3.0
"""Deviations, in standard deviations by the median, that are drawn in: a note that beats."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """Change of the swing from one take to the other.

    Parameters
    ----------
    change_db
        After over before.
    pick
        "softer" or "harder" where it is beyond doubt that the swing changed by more than
        `CLEAR_DB`, else None.
    """

    change_db: float
    pick: Pick | None


def swing_of(before: Scan, after: Scan) -> Swing | None:
    """Return how the swing changed, or None where too few places or no glide tell it."""
    one, other = _glides(before), _glides(after)
    places = sorted(one.keys() & other.keys())
    if len(places) < FEWEST_PLACES:
        return None
    then = np.array([one[p] for p in places])
    now = np.array([other[p] for p in places])
    (mean_then, error_then), (mean_now, error_now) = _mean(then), _mean(now)
    if max(mean_then / error_then, mean_now / error_now) < SIGMAS:
        return None
    ratio = max(mean_now, error_now) / max(mean_then, error_then)
    pick: Pick | None = None
    if _surely_less(now, then):
        pick = "softer"
    elif _surely_less(then, now):
        pick = "harder"
    return Swing(change_db=float(10.0 * np.log10(ratio)), pick=pick)


def _surely_less(small: FloatArray, large: FloatArray) -> bool:
    """Return whether one take's glide is less than another's by more than the pick may vary."""
    clear, unchanged = (10.0 ** (-db / 10.0) for db in (CLEAR_DB, UNCHANGED_DB))
    difference, error = _mean(small - unchanged * large)
    return bool(_mean(small)[0] < clear * _mean(large)[0] and difference < -SIGMAS * error)


def _mean(values: FloatArray) -> tuple[float, float]:
    """Return a mean that single notes do not sway, and its standard error."""
    middle = float(np.median(values))
    sd = max(MAD_TO_SIGMA * float(np.median(np.abs(values - middle))), 1e-3)
    drawn = np.clip(values, middle - _WIDEST * sd, middle + _WIDEST * sd)
    error = float(drawn.std(ddof=1)) / float(np.sqrt(len(values)))
    return float(drawn.mean()), max(error, 1e-4)


def _glides(scan: Scan) -> dict[Place, float]:
    """Return the glide of each place that is clean."""
    clean = {(p.string, p.fret) for p in scan.positions if p.buzz == "clean"}
    glides = middles(scan, lambda n: n.glide_cents)
    return {place: glide for place, glide in glides.items() if place in clean}
