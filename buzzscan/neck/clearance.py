"""The string over the frets: clearances, and the pluck strength at which a note strikes.

Conventions
-----------
Lengths are in mm, x from the nut towards the saddle, heights over the plane through the tops
of the first and the last fret. Index 0 of an array over frets is the nut slot. `heights[m]`
is the top of fret m; `clearance[n, m]` is the height of the string over fret m while it is
held at fret n (0: open), infinite where m is not ahead of n.

The string swings inside the envelope of an ideal plucked string: the triangle it is let go
from, and that triangle turned about the middle of the string (travelling-wave solution;
Fletcher & Rossing, The Physics of Musical Instruments, ch. 2). Beside the held fret its slope
is amplitude over pluck distance, so that all frets ahead on a level neck are met at about
the same strength.

Limits
------
Stiffness, damping and the turning plane of the vibration are left out: strengths compare
notes of one string with one another; they are no forecast in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar

__all__ = [
    "PLUCK_RANGE",
    "SOUND_RELIEF_MM",
    "Setup",
    "clearances",
    "envelope",
    "fret_places",
    "relief_curve",
    "setup_of",
]

FloatArray = npt.NDArray[np.float64]

_TYPICAL_GUITAR_SCALE_MM = 648.0
_TYPICAL_BASS_SCALE_MM = 864.0
"""Common scales; used only for ratios when the scale is not known (common practice)."""
_BASS_BELOW_HZ = 60.0
"""Lowest open string below this is taken for a bass (E1 is 41 Hz, the lowest guitar E 82)."""
_TYPICAL_ACTION_MM = (1.8, 1.5)
"""Over the 12th fret, thickest and thinnest string (common practice, no source)."""
_TYPICAL_RELIEF_MM = 0.2
_TYPICAL_NUT_GAP_MM = 0.4
PLUCK_RANGE = (0.02, 0.5)
"""Pluck places considered, as a share of the sounding string."""
_SOUND_NUT_GAP_MM, SOUND_RELIEF_MM = 0.2, 0.1
"""A slot cut lower than this, and a neck that is straighter, is a cause to be found, not a setup to
take for granted (common practice, no source)."""
_SHORT_MM = 0.05
"""Relief that is missing by less than feeler gauges are apart is nothing to go by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """Heights of the strings over a neck with level frets.

    Parameters
    ----------
    places_mm
        Distance of the nut (index 0) and each fret from the nut, shape (frets + 1,).
    scale_mm
        Length of the open string.
    heights_mm
        Nut slot (index 0) and fret tops per string, shape (strings, frets + 1), string 1 first.
    saddle_mm
        Height of each string at the saddle over the plane of the frets, shape (strings,).
    open_hz
        Pitch of each open string, shape (strings,).
    in_mm
        True when action and relief are known, so that heights may be said in mm.
    short_relief_mm
        By how much the neck, as it was measured, is straighter than is sound; not in the heights.
    relief_is_sound
        Whether its relief was measured, and is no less than is sound.
    """

    places_mm: FloatArray
    scale_mm: float
    heights_mm: FloatArray
    saddle_mm: FloatArray
    open_hz: FloatArray
    in_mm: bool
    short_relief_mm: float = 0.0
    relief_is_sound: bool = False

    @property
    def too_straight(self) -> bool:
        """Whether the neck was measured to be clearly straighter than is sound."""
        return self.short_relief_mm >= _SHORT_MM

    @property
    def profile_mm(self) -> FloatArray:
        """Nut slot, frets and saddle in one array, shape (strings, frets + 2)."""
        return np.concatenate([self.heights_mm, self.saddle_mm[:, None]], axis=1)


def fret_places(frets: int, *, scale_mm: float) -> FloatArray:
    """Return the distance of the nut and each fret from the nut in mm, shape (frets + 1,)."""
    return np.asarray(scale_mm * (1.0 - 2.0 ** (-np.arange(frets + 1) / 12.0)), np.float64)


def relief_curve(places_mm: FloatArray) -> FloatArray:
    """Return how deep each fret lies for a relief of 1 mm: a parabola from fret 1 to the last.

    The nut (index 0) lies on the plane.
    """
    first, last = places_mm[1], places_mm[-1]
    along = (places_mm - first) / max(last - first, 1e-9)
    depth = 4.0 * along * (1.0 - along)
    depth[0] = 0.0
    return np.asarray(depth, np.float64)


def _actions_mm(guitar: Guitar) -> FloatArray:
    """Return the action per string, string 1 first, typical where it is not known."""
    if guitar.action_12_mm is not None:
        return np.asarray(guitar.action_12_mm[::-1], np.float64)
    thick, thin = _TYPICAL_ACTION_MM
    return np.linspace(thin, thick, guitar.n_strings)


def setup_of(guitar: Guitar) -> Setup:
    """Return the heights of an instrument's strings over level frets.

    What the guitar does not say is filled with typical values, and `Setup.in_mm` is then
    False unless both action and relief are known. Less relief, or a lower nut gap, than is sound is
    not taken over: heights of such faults count from what is sound.
    """
    open_hz = np.array([guitar.pitch_hz(s, 0) for s in guitar.strings], np.float64)
    typical = _TYPICAL_BASS_SCALE_MM if open_hz.min() < _BASS_BELOW_HZ else _TYPICAL_GUITAR_SCALE_MM
    scale = guitar.scale_mm or typical
    relief = _TYPICAL_RELIEF_MM if guitar.relief_mm is None else guitar.relief_mm
    short = max(SOUND_RELIEF_MM - relief, 0.0)
    gap = _TYPICAL_NUT_GAP_MM if guitar.nut_gap_mm is None else guitar.nut_gap_mm
    gap = max(gap, _SOUND_NUT_GAP_MM)
    places = fret_places(max(guitar.frets, 12), scale_mm=scale)
    curve = relief_curve(fret_places(max(guitar.frets, 2), scale_mm=scale))
    # the action was measured over the neck as it is: saddle and nut stay where they are
    action = _actions_mm(guitar) - relief * np.interp(places[12], places[: curve.size], curve)
    frets = -(relief + short) * curve
    slope = (action - gap) / (places[12] - places[1])
    nut = gap - slope * places[1]
    heights = np.tile(frets[: guitar.frets + 1], (guitar.n_strings, 1))
    heights[:, 0] = nut
    return Setup(
        places_mm=places[: guitar.frets + 1],
        scale_mm=scale,
        heights_mm=heights,
        saddle_mm=nut + slope * scale,
        open_hz=open_hz,
        in_mm=guitar.action_12_mm is not None and guitar.relief_mm is not None,
        short_relief_mm=short,
        relief_is_sound=guitar.relief_mm is not None and short == 0.0,
    )


def clearances(
    heights_mm: FloatArray, saddle_mm: FloatArray, *, places_mm: FloatArray, scale_mm: float
) -> FloatArray:
    """Return the clearance of every fret ahead of every held fret, in mm.

    Parameters
    ----------
    heights_mm
        Nut slot and fret tops, shape (…, frets + 1).
    saddle_mm
        Height of the string at the saddle, shape (…).

    Returns
    -------
    array of shape (…, frets + 1, frets + 1)
        ``[n, m]``: string held at n, over fret m; negative when the string rests on m.
    """
    left = 1.0 - places_mm / scale_mm
    ratio = left[None, :] / left[:, None]
    held, saddle = heights_mm[..., :, None], saddle_mm[..., None, None]
    line = held * ratio + saddle * (1.0 - ratio)
    ahead = np.triu(np.ones(ratio.shape, bool), 1)
    return np.where(ahead, line - heights_mm[..., None, :], np.inf)


def envelope(
    places_mm: FloatArray, *, scale_mm: float, pluck_mm: float, towards: bool = False
) -> FloatArray:
    """Return how far the string swings towards each fret ahead, for a pluck of amplitude 1.

    A string pulled to one side and let go swings out to the other as the same triangle turned
    about its middle, and back. What was pulled away from the neck comes nearest to it turned, its
    tip close to the held fret; what was pushed towards it never comes nearer than where it was let
    go.

    Parameters
    ----------
    pluck_mm
        Distance of the pluck from the saddle.
    towards
        Whether the pick pushes the string towards the neck.

    Returns
    -------
    array of shape (frets + 1, frets + 1)
        ``[n, m]``: string held at n, over fret m; 0 where m is not ahead of n.
    """
    left = scale_mm - places_mm
    pluck = np.clip(pluck_mm / left, *PLUCK_RANGE)[:, None]
    along = left[None, :] / left[:, None]
    triangle = np.minimum(along / pluck, (1.0 - along) / (1.0 - pluck))
    turned = np.minimum((1.0 - along) / pluck, along / (1.0 - pluck))
    ahead = np.triu(np.ones(along.shape, bool), 1)
    return np.where(ahead, triangle if towards else np.maximum(triangle, turned), 0.0)
