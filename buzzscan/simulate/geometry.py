"""Geometry of neck and string: where the frets are and how much room the string has over them.

Conventions
-----------
Millimetres. x runs from the nut to the saddle; heights are over a straight line through the
crowns of the first and the last fret of a level neck, positive towards the string.

Limits
------
The neck bows as a parabola between the first and the last fret. The string is straight
between its supports.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["StringLine", "fret_positions", "relief_heights", "string_line"]

Array = npt.NDArray[np.float64]


def fret_positions(scale_mm: float, frets: int) -> Array:
    """Return the distance of frets 0 (nut) … n from the nut, shape (n + 1,)."""
    return np.asarray(scale_mm * (1.0 - 2.0 ** (-np.arange(frets + 1) / 12.0)))


def relief_heights(x_mm: Array, relief_mm: float) -> Array:
    """Return the height of each fret crown of a neck with relief (≤ 0 for relief > 0)."""
    first, last = x_mm[1], x_mm[-1]
    if last == first:
        return np.zeros_like(x_mm)  # a single fret cannot bow
    bow = -4.0 * relief_mm * (x_mm - first) * (last - x_mm) / (last - first) ** 2
    return np.asarray(bow)


@dataclass(frozen=True, slots=True, kw_only=True)
class StringLine:
    """One string over one neck.

    Parameters
    ----------
    x_mm, fret_mm
        Place and height of the nut (index 0, height unused) and of every fret.
    nut_mm, saddle_mm
        Height of the string at the nut and at the saddle.
    scale_mm
        Distance of the saddle.
    """

    x_mm: tuple[float, ...]
    fret_mm: tuple[float, ...]
    nut_mm: float
    saddle_mm: float
    scale_mm: float

    def clearances(self, fret: int) -> tuple[npt.NDArray[np.intp], Array]:
        """Return fret numbers ahead of a stopped fret and the room over each in mm.

        Negative room means that the string rests on that fret.
        """
        ahead = np.arange(fret + 1, len(self.x_mm), dtype=np.intp)
        x = np.asarray(self.x_mm)
        z = np.asarray(self.fret_mm)
        x0 = x[fret]
        y0 = self.nut_mm if fret == 0 else z[fret]
        line = y0 + (self.saddle_mm - y0) * (x[ahead] - x0) / (self.scale_mm - x0)
        return ahead, np.asarray(line - z[ahead])

    def sounding_fret(self, fret: int) -> tuple[int, float]:
        """Return the fret the string really leaves, and how far it is lifted there in mm.

        The string leaves the stop over the fret ahead that needs the steepest line; with no
        fret in the way that is the stopped fret itself, lifted by 0.
        """
        ahead, room = self.clearances(fret)
        if len(ahead) == 0 or room.min() >= 0.0:
            return fret, 0.0
        x = np.asarray(self.x_mm)
        angle = room / (self.scale_mm - x[ahead])  # seen from the saddle the steepest wins
        worst = int(np.argmin(angle))
        return int(ahead[worst]), float(-room[worst])

    def resting_slope(self, fret: int) -> float:
        """Return by how much a resting string bends over the fret it leaves; 0 when it is free.

        Times the tension this is the force that holds it down there. The line behind comes from
        whichever fret supports the string next, at the latest the stopped one.
        """
        rests_on, _ = self.sounding_fret(fret)
        if rests_on == fret:
            return 0.0
        x, z = np.asarray(self.x_mm), np.asarray(self.fret_mm).copy()
        z[fret] = self.nut_mm if fret == 0 else z[fret]
        behind = np.arange(fret, rests_on)
        rising = np.min((z[rests_on] - z[behind]) / (x[rests_on] - x[behind]))
        onward = (self.saddle_mm - z[rests_on]) / (self.scale_mm - x[rests_on])
        return float(rising - onward)


def string_line(
    *,
    scale_mm: float,
    frets: int,
    action_12_mm: float,
    nut_gap_mm: float,
    relief_mm: float,
    errors_mm: Array,
) -> StringLine:
    """Return the string's line from what a repairer measures on a level neck.

    Parameters
    ----------
    action_12_mm, nut_gap_mm
        Room of the open string over frets 12 and 1 without the height errors.
    errors_mm
        Height error of each fret, index 0 (nut) lifts the nut slot, shape (frets + 1,).

    Notes
    -----
    With h the height at the nut and s that at the saddle, action and nut gap are two linear
    equations in h and s. On a neck of fewer than 12 frets the action is taken at the octave
    point all the same.
    """
    x = fret_positions(scale_mm, frets)
    z = relief_heights(x, relief_mm)
    z12 = float(z[12]) if frets >= 12 else 0.0
    system = np.array([[0.5, 0.5], [1.0 - x[1] / scale_mm, x[1] / scale_mm]])
    nut, saddle = np.linalg.solve(system, [action_12_mm + z12, nut_gap_mm + float(z[1])])
    heights = z + errors_mm
    return StringLine(
        x_mm=tuple(x.tolist()),
        fret_mm=tuple(heights.tolist()),
        nut_mm=float(nut + errors_mm[0]),
        saddle_mm=float(saddle),
        scale_mm=scale_mm,
    )
