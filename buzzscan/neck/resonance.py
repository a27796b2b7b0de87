"""Odds that the neck takes a pitch, from the falls of all notes at that pitch.

Conventions
-----------
Log odds are natural. Depths are ln of how many times as fast as usual a note falls.

Limits
------
A wave of the room that fades while a short note sounds looks like a dead spot, at the same
pitch on every string; in a room, short notes therefore say little however many they are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from buzzscan.neck.falls import PLUCK_SCATTER, PlaceFalls
from buzzscan.units import MAD_TO_SIGMA

__all__ = ["resonance_log_odds", "scatter_of_wholes"]

FloatArray = npt.NDArray[np.float64]

_LOG_PRIOR = -5.0
"""One pitch in 150: a neck has some forty, and about one in four has a dead spot (common
practice, no source)."""
_DEPTH, _DEPTH_SPREAD = 0.7, 0.45
"""Dead spots take notes twice as fast, give or take 1.6 times: what is heard at all is a quarter
less in time (Tolonen & Järveläinen, 2000), what is told of in the trade two to four times."""
_FOLLOWS = np.array([0.3, 0.9])[:, None]
"""Share of the strings that give way at its pitch, one as likely as the other: some resonances
take all, some only those that are pressed down where the neck swings."""
_OWN, _OWN_DEPTH = 0.03, 0.2
"""Chance that a place falls faster for reasons of its own, and by how much: on real guitars one
fret in thirty or so stands out alone, by a fifth."""
_STRAY, _STRAY_RATIO, _STRAY_ERRORS = 0.02, 1.5, 1.5
"""Chance that a note falls as it likes (a finger, a squeak), and how far off it then is."""
_DRY_DB = 0.05
"""Between the beginnings of dry takes (0.01–0.03 dB) and of takes in a room (0.07–0.8)."""
_ROOM_WAVE = 0.1
"""Chance of a pitch at which the room does more than the errors know of,"""
_WAVE_ERRORS, _WAVE_SEEN_S, _LEAST_WAVE_ERRORS = 4.0, 0.2, 1.5
"""and how many times as much: in notes seen for 0.2 s, one in a hundred is four errors off, and
less in longer ones as the room fades (simulated rooms with a T60 of 0.2–0.5 s)."""
_WHOLE, _WHOLE_SPREAD, _NO_WHOLE = 0.5, 0.3, 0.1
"""Depth for the whole note, which rings on in its other partials, and the chance that it does
not fall faster at all."""
_WHOLE_ERROR, _WHOLE_ROOM, _WHOLE_DRY, _WHOLE_WAVE = 0.1, 0.2, 0.05, 0.5
"""Least error of that depth; chance that something else moves it, in a room and without, and
by how much."""
_MEDIAN_ERROR = 1.25

_DEEP_RATIO, _RISING_RATIO = math.exp(_DEPTH + _DEPTH_SPREAD), -1.0
"""What falls or rises faster is taken for this: deeper is no less a dead spot, and a stray note no
more of one."""
_DEPTHS = np.linspace(0.2, 2.0, 19)
_DEPTH_WEIGHTS = np.exp(-0.5 * ((_DEPTHS - _DEPTH) / _DEPTH_SPREAD) ** 2)
_DEPTH_WEIGHTS /= _DEPTH_WEIGHTS.sum()
_OWN_WEIGHTS = np.exp(-_DEPTHS / _OWN_DEPTH)
_OWN_WEIGHTS /= _OWN_WEIGHTS.sum()
_LEAST = 1e-300
"""Less likely than this cannot be put into a number."""
_WAVES = np.concatenate([np.linspace(-4.0, 4.0, 25), np.linspace(4.6, 16.0, 20)])
_WAVE_STEPS = np.gradient(_WAVES)
_NODES, _NODE_WEIGHTS = np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0]), np.array([1.0, 4.0, 1.0]) / 6.0
"""Three points that stand for a normal distribution (Gauss and Hermite)."""


def resonance_log_odds(
    places: Sequence[PlaceFalls], *, room_db: float, whole_scatter: float
) -> float:
    """Return the log odds that the neck takes the pitch that all places share.

    Each note is weighed by its own error. What a room does is shared by all notes of a pitch,
    so that more of them make it no surer; on a dry take they are independent.

    Parameters
    ----------
    places
        Falls at one pitch, one place per string.
    room_db
        What the room does to the beginning of the take's notes.
    whole_scatter
        Usual scatter of ln(ratio) of whole notes, from `scatter_of_wholes`.
    """
    wet = room_db**2 / (room_db**2 + _DRY_DB**2)
    errors = np.concatenate([p.errors * p.usual_db_per_s for p in places])
    shared = wet * float(np.median(errors))
    without = _wave_weights(float(np.median(np.concatenate([p.seen_s for p in places]))))
    with_spot = np.tile(without / len(_FOLLOWS), (len(_FOLLOWS), 1))
    for place in places:
        # only their ratio counts, and products of many notes run out of numbers
        most = max(float(with_spot.max()), float(without.max()))
        with_spot, without = with_spot / most, without / most
        likelihood = _likelihood(place, shared / place.usual_db_per_s)
        taken = _DEPTH_WEIGHTS @ likelihood[1:]
        usual = (1.0 - _OWN) * likelihood[0] + _OWN * (_OWN_WEIGHTS @ likelihood[1:])
        with_spot = with_spot * (_FOLLOWS * taken + (1.0 - _FOLLOWS) * usual)
        without = without * usual
    odds = math.log(max(with_spot.sum(), _LEAST)) - math.log(max(without.sum(), _LEAST))
    fast = [p.log_wholes for p in places if p.is_fast]
    wholes = np.concatenate(fast or [p.log_wholes for p in places])
    return _LOG_PRIOR + odds + _whole_log_odds(wholes, scatter=whole_scatter, wet=wet)


def scatter_of_wholes(places: Sequence[PlaceFalls]) -> float:
    """Return the usual scatter of ln(ratio) of whole notes on a neck."""
    logs = np.concatenate([np.zeros(0), *(p.log_wholes for p in places)])
    return MAD_TO_SIGMA * float(np.median(np.abs(logs - np.median(logs)))) if len(logs) else 0.0


def _wave_weights(seen_s: float) -> FloatArray:
    """Return how likely each shared departure, in errors, is at a pitch seen for so long."""
    wide = max(_LEAST_WAVE_ERRORS, _WAVE_ERRORS * _WAVE_SEEN_S / max(seen_s, 1e-3))
    weights = (1.0 - _ROOM_WAVE) * np.exp(-0.5 * _WAVES**2)
    weights += _ROOM_WAVE / wide * np.exp(-0.5 * (_WAVES / wide) ** 2)
    weights *= _WAVE_STEPS
    return np.asarray(weights / weights.sum(), np.float64)


def _likelihood(place: PlaceFalls, shared: float) -> FloatArray:
    """Return the likelihood of a place's falls, no depth first, then each; by shared departures.

    The place's own scatter is averaged over; its notes share it.
    """
    depths = np.append(0.0, _DEPTHS)
    expected = np.exp(depths + place.scatter * _NODES[:, None])[..., None, None]
    ratios = np.clip(place.ratios, _RISING_RATIO, _DEEP_RATIO)
    errors = place.errors * np.minimum(1.0, _DEEP_RATIO / np.maximum(place.ratios, 1.0))
    miss = ratios - expected - shared * _WAVES[:, None]
    error = np.hypot(errors, PLUCK_SCATTER * expected)
    stray = np.maximum(_STRAY_RATIO, _STRAY_ERRORS * errors)
    each = (1.0 - _STRAY) * np.exp(-0.5 * (miss / error) ** 2) / error
    each += _STRAY * np.exp(-0.5 * (miss / stray) ** 2) / stray
    together = np.log(np.maximum(each, _LEAST)).sum(axis=-1)
    return np.asarray(np.tensordot(_NODE_WEIGHTS, np.exp(together - together.max()), axes=1))


def _whole_log_odds(logs: FloatArray, *, scatter: float, wet: float) -> float:
    """Return the log odds that whole notes fall as a dead spot's do."""
    if not len(logs):
        return 0.0
    middle = min(float(np.median(logs)), _WHOLE)
    error = math.hypot(_WHOLE_ERROR, _MEDIAN_ERROR * scatter / math.sqrt(len(logs)))
    other = wet * _WHOLE_ROOM + (1.0 - wet) * _WHOLE_DRY
    usual = (1.0 - other) * _normal(middle, error)
    usual += other * _normal(middle, math.hypot(_WHOLE_WAVE, error))
    spot = _normal(middle - _WHOLE, math.hypot(_WHOLE_SPREAD, error))
    return math.log(_NO_WHOLE + (1.0 - _NO_WHOLE) * spot / usual)


def _normal(off: float, sigma: float) -> float:
    return math.exp(-0.5 * (off / sigma) ** 2) / sigma
