"""Intonation of each string: tuning, saddle place and nut height told apart.

Conventions
-----------
The pitch error over the frets n of one string is fitted as

    cents(n) = tuning + saddle · (2^(n/12) − 1) + nut · x_1/x_n   (last term: fretted notes)

A saddle that is c mm too far back flattens fret n by 1200/ln 2 · c/L · (2^(n/12) − 1) against the
open string: the sounding length is L·2^(−n/12) + c. A string that is high at the nut is
stretched most at fret 1, and the less the longer its part behind the fret: about as 1/x_n.

Limits
------
The stretch of pressing a string down to an action is smooth and mostly taken up by the
saddle's term, as it is at the bench, where the 12th fret is set against the open string.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.neck.clearance import Setup
from buzzscan.neck.verdict import Position, tells_contact
from buzzscan.units import MAD_TO_SIGMA

__all__ = ["CENTS_PER_LENGTH", "StringPitch", "string_pitches"]

FloatArray = npt.NDArray[np.float64]

CENTS_PER_LENGTH = 1200.0 / float(np.log(2.0))
"""Cents per relative change of length."""
_LEAST_NOTES = 6
_WILD_CENTS = 45.0
"""Beyond this a note is misplaced, choked or bent; it says nothing about the saddle."""
_LEAST_SIGMA_CENTS = 0.8
"""Finger pressure alone moves a note by about a cent (common practice, no source)."""
_SHARED_CENTS = 1.0
"""What no number of notes averages out: how hard a string is picked and pressed all along it moves
its pitch (0.5 to 1.5 cents of saddle and nut in simulations that share nothing with ours)."""
_TUKEY = 4.685


@dataclass(frozen=True, slots=True, kw_only=True)
class StringPitch:
    """Pitch of one string split into its causes, in cents, each with its standard error.

    Parameters
    ----------
    tuning_cents
        Error of the open string against the instrument as a whole.
    saddle_cents
        Error of the 12th fret against the open string's octave, from all frets.
    nut_cents
        What fret 1 is sharp beyond both.
    n_notes
        Positions that were used.
    first_cents
        What fret 1 reads above the open string; None where it was not used.
    """

    string: int
    tuning_cents: float
    tuning_error: float
    saddle_cents: float
    saddle_error: float
    nut_cents: float
    nut_error: float
    n_notes: int
    first_cents: float | None


def _fit(terms: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return coefficients and their standard errors by Tukey's biweight."""
    weights: FloatArray = np.ones(values.size)
    fit: FloatArray = np.zeros(terms.shape[1])
    sigma = 1.0
    for step in range(20):
        root = np.sqrt(weights)
        solved = np.linalg.lstsq(terms * root[:, None], values * root, rcond=None)[0]
        fit = np.asarray(solved, np.float64)
        rest = values - terms @ fit
        sigma = max(MAD_TO_SIGMA * float(np.median(np.abs(rest))), _LEAST_SIGMA_CENTS)
        if step < 10:
            weights = 1.0 / np.maximum(np.abs(rest) / sigma, 0.3)
        else:
            weights = np.square(np.maximum(1.0 - (rest / (_TUKEY * sigma)) ** 2, 1e-6))
    scale = max(1.0, values.size / (values.size - terms.shape[1]))
    inverse = np.linalg.pinv((terms * weights[:, None]).T @ terms)
    return fit, np.sqrt(np.diag(inverse) * scale) * sigma


def _pitch_of(
    string: int, frets: FloatArray, cents: FloatArray, setup: Setup, capo: int
) -> StringPitch | None:
    if frets.size < _LEAST_NOTES or np.ptp(frets) < 5.0:
        return None
    places = setup.places_mm
    first = min(capo + 1, places.size - 1)
    behind = places[np.asarray(frets, np.int64)] - places[capo]
    nut = np.where(frets > capo, (places[first] - places[capo]) / np.maximum(behind, 1e-6), 0.0)
    terms = np.stack(
        [np.ones(frets.size), 2.0 ** (frets / 12.0) - 2.0 ** (capo / 12.0), nut], axis=1
    )
    fit, scatter = _fit(terms, cents)
    error = np.hypot(scatter, _SHARED_CENTS)
    return StringPitch(
        string=string,
        tuning_cents=float(fit[0]),
        tuning_error=float(error[0]),
        saddle_cents=float(fit[1]),
        saddle_error=float(error[1]),
        nut_cents=float(fit[2]),
        nut_error=float(error[2]),
        n_notes=int(frets.size),
        first_cents=float(cents[frets == first][0] - cents[frets == capo][0])
        if np.any(frets == first)
        else None,
    )


def string_pitches(
    guitar: Guitar, positions: Sequence[Position], setup: Setup, *, offset_cents: float
) -> tuple[StringPitch, ...]:
    """Return the split for every string with enough notes in tune enough to use.

    Notes that strike a fret are left out: they sound some cents sharp. The open string must be
    among those that are left: nut, saddle and tuning are all told against it.
    """
    out = []
    for string in guitar.strings:
        used = [
            (p.fret, p.cents - offset_cents)
            for p in positions
            if p.string == string and p.cents is not None and not tells_contact(p.buzz)
        ]
        if not used:
            continue
        frets, cents = np.asarray(used, np.float64).T
        near = np.abs(cents - np.median(cents)) <= _WILD_CENTS
        if not np.any(frets[near] == guitar.capo):
            continue
        found = _pitch_of(string, frets[near], cents[near], setup, guitar.capo)
        if found is not None:
            out.append(found)
    return tuple(out)
