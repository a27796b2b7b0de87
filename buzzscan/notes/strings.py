"""What is known of each string: first from physics, then from the take itself.

Conventions
-----------
Arrays are indexed by string number; entry 0 is unused. ``ln_b`` is the natural logarithm of the
open string's inharmonicity B; up the neck B grows with 1/L², so by ln 2 every six frets.

Limits
------
Before the take has spoken, a string's stiffness is known to a factor of two or three.

References
----------
B of a plain string, π³·E·d⁴/(64·T·L²), and its tension from pitch and mass: Fletcher, JASA 36
(1964). Steel: E = 207 GPa, 7850 kg/m³.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.notes.hearing import Heard
from buzzscan.units import MAD_TO_SIGMA

__all__ = ["LN_B_PER_FRET", "Strings", "assumed_strings", "learnt_strings", "string_costs"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

LN_B_PER_FRET = float(np.log(2.0) / 6.0)
"""B goes with 1/L² and L with 2^(-fret/12)."""

_SCALE_MM, _TENSION_N = 650.0, 72.0
"""Taken where the guitar file is silent: a usual scale and pull of one string."""
_YOUNG_PA, _STEEL_KG_M3 = 2.07e11, 7850.0
_PLAIN_FROM_HZ, _WOUND_BELOW_HZ = 205.0, 180.0
"""Without a word in the guitar file: B3 and E4 are plain, D3 and lower wound, G3 may be either."""
_WOUND_LN_B, _EITHER_LN_B = -9.4, -9.6
"""Cores of wound strings give about 5e-5 to 2e-4 on guitars and basses alike."""
_PLAIN_SD, _WOUND_SD, _EITHER_SD = 0.8, 1.0, 1.3
_ASSUMED_WIDER = 3.0
"""What is assumed of a string errs for all its notes at once; widened, some twenty notes weigh
together about what the assumption is worth."""
_CENTS_SD_UNKNOWN, _CENTS_SD = 25.0, 8.0
_LEAST_NOTES, _LEAST_WEIGHT, _LEAST_B_SD = 3, 8.0, 1e-9
_NOTE_SD = 0.5
"""Of ln B from note to note of one string, beyond the error of its measurement: notes count four
to one against what was assumed."""
_STRING_CENTS_SD = 12.0
"""How far strings lie apart on an instrument tuned by ear or by a clip-on tuner."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strings:
    """What is known of each string.

    Parameters
    ----------
    cents, cents_sd
        How far the string lies from nominal, and the spread to allow for its notes.
    ln_b, ln_b_sd
        ln B of the open string, and its uncertainty.
    """

    cents: FloatArray
    cents_sd: FloatArray
    ln_b: FloatArray
    ln_b_sd: FloatArray


def assumed_strings(guitar: Guitar, offset_cents: float) -> Strings:
    """Return what is known before anything was placed.

    Parameters
    ----------
    guitar
        The instrument.
    offset_cents
        How far it lies from its nominal pitch as a whole.
    """
    n = guitar.n_strings + 1
    ln_b, sd = np.full(n, _WOUND_LN_B), np.full(n, _WOUND_SD)
    for s in guitar.strings:
        ln_b[s], sd[s] = _assumed_ln_b(guitar, s)
    return Strings(
        cents=np.full(n, offset_cents),
        cents_sd=np.full(n, _CENTS_SD_UNKNOWN),
        ln_b=ln_b,
        ln_b_sd=_ASSUMED_WIDER * sd,
    )


def _assumed_ln_b(guitar: Guitar, string: int) -> tuple[float, float]:
    hz = guitar.pitch_hz(string, 0)
    wound = guitar.wound[-string] if guitar.wound else None
    if wound is None and _WOUND_BELOW_HZ < hz < _PLAIN_FROM_HZ and not guitar.gauges_mm:
        return _EITHER_LN_B, _EITHER_SD
    if wound or (wound is None and hz < _PLAIN_FROM_HZ):
        return _WOUND_LN_B, _WOUND_SD
    length = (guitar.scale_mm or _SCALE_MM) / 1000.0
    if guitar.gauges_mm:
        d = guitar.gauges_mm[-string] / 1000.0
        tension = np.pi / 4.0 * d * d * _STEEL_KG_M3 * (2.0 * length * hz) ** 2
    else:
        tension = _TENSION_N
        d = np.sqrt(4.0 * tension / (np.pi * _STEEL_KG_M3)) / (2.0 * length * hz)
    b = np.pi**3 * _YOUNG_PA * d**4 / (64.0 * tension * length**2)
    return float(np.log(b)), _PLAIN_SD


def learnt_strings(
    heard: Heard,
    guitar: Guitar,
    rows: IntArray,
    string: IntArray,
    fret: IntArray,
    *,
    offset_cents: float,
) -> Strings:
    """Return what the placed notes tell of each string.

    Parameters
    ----------
    heard
        Candidates.
    guitar
        The instrument.
    rows, string, fret
        Placed candidates and their places.
    offset_cents
        Of the instrument as a whole, for strings without notes.
    """
    start = assumed_strings(guitar, offset_cents)
    cents, cents_sd = start.cents.copy(), start.cents_sd.copy()
    ln_b, ln_b_sd = start.ln_b.copy(), start.ln_b_sd.copy()
    midi = heard.midi(guitar.a4_hz)[rows]
    open_midi = np.array([0.0] + [guitar.midi(s, 0) for s in guitar.strings])
    off = 100.0 * (midi - open_midi[string] - fret)
    to_open = np.exp(-LN_B_PER_FRET * fret)
    open_b, open_b_sd = heard.b[rows] * to_open, heard.b_sd[rows] * to_open
    clear = np.abs(off - offset_cents) < 60.0
    for s in guitar.strings:
        mine = clear & (string == s)
        if mine.sum() >= 3:
            cents[s] = np.median(off[mine])
            spread = MAD_TO_SIGMA * float(np.median(np.abs(off[mine] - cents[s])))
            known = max(_CENTS_SD, spread) + 20.0 / mine.sum()
            cents_sd[s] = min(known, _CENTS_SD_UNKNOWN)
        telling = mine & ~heard.locked[rows]
        told = _stiffness(open_b[telling], open_b_sd[telling])
        if told is not None:
            own, weight = told
            prior = (_ASSUMED_WIDER / start.ln_b_sd[s]) ** 2
            ln_b[s] = (weight * np.log(own) + prior * start.ln_b[s]) / (weight + prior)
            ln_b_sd[s] = 1.0 / np.sqrt(weight)
    return Strings(cents=cents, cents_sd=cents_sd, ln_b=ln_b, ln_b_sd=ln_b_sd)


def _stiffness(b: FloatArray, b_sd: FloatArray) -> tuple[float, float] | None:
    """Return the B of an open string by its notes, and their weight: 1 over the variance of ln B.

    None where they tell next to nothing. Every note counts as far as it is sure: those alone that
    are sure of their B would be those that read too much of it. Where errors are larger than B, it
    still reads high.
    """
    if len(b) < _LEAST_NOTES:
        return None
    own = _weighted_median(b, 1.0 / np.maximum(b_sd, _LEAST_B_SD))
    off = b_sd / np.maximum(b, own)
    var = off**2 + _NOTE_SD**2
    own = _weighted_median(b, 1.0 / var)
    weight = float((1.0 / var).sum())
    return (own, weight) if weight >= _LEAST_WEIGHT else None


def _weighted_median(values: FloatArray, weights: FloatArray) -> float:
    order = np.argsort(values)
    share = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(share, 0.5 * share[-1])])


def string_costs(learnt: Strings, assumed: Strings, used: IntArray) -> float:
    """Return how unlikely the learnt strings are, in nats, over the strings that were used."""
    at = np.unique(used)
    if not len(at):
        return 0.0
    stiff = _ASSUMED_WIDER * (learnt.ln_b[at] - assumed.ln_b[at]) / assumed.ln_b_sd[at]
    cents = (learnt.cents[at] - np.median(learnt.cents[at])) / _STRING_CENTS_SD
    return float(0.5 * (np.minimum(stiff**2, 9.0) + np.minimum(cents**2, 9.0)).sum())
