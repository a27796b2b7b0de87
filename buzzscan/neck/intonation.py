"""Intonation of each string: tuning, saddle place and nut height told apart.

Conventions
-----------
The pitch error over the frets n of one string is fitted as

    cents(n) = tuning + pressing + place · (2^(n/12) − 1) + nut · x_1/x_n

(the second and the last term: fretted notes only). A saddle that is c mm too far back flattens fret
n by 1200/ln 2 · c/L · (2^(n/12) − 1) against the open string: the sounding length is
L·2^(−n/12) + c. A finger stretches the string that it presses down, at any fret; the saddle is set
back for that until the 12th fret is in tune with the open string, so that its error is both terms
there. A string that is high at the nut is stretched most at fret 1, and the less the longer its
part behind the fret: about as 1/x_n.

Limits
------
How far the open string lies off the fretted notes is told by itself alone: where a resonance pulls
it, a tuner at the bench shows the same. Under a capo no string is open, and what pressing does is
not told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.measures.glide import MOST_CENTS
from buzzscan.neck.clearance import Setup
from buzzscan.neck.positions import Place
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
_PRESSING_CENTS = 3.0
"""Standard deviation, before anything is heard, of what pressing a string down makes of its pitch
(common practice, no source: a few cents)."""
_LEFT_OF_GLIDE = 0.25
"""Share of the glide of a hard attack, as read at the onset, that may be left in a pitch: a swing
stretches a short string more, so that what is left looks like a saddle too far forward (a fifth of
it is, on one simulation that shares nothing with ours, and none on our own)."""
_NO_CENTS = 1e-3
_OPEN_OFF_CENTS = 4.0
"""An open string that reads further than this from where its frets put it, by all terms, is none to
tell nut, saddle and tuning against: a resonance pulls one or the other, or the string is false."""
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
        What fret 1 is sharp beyond all that pressing, tuning and the saddle's place make.
    n_notes
        Positions that were used.
    first_cents
        What fret 1 reads above the open string and what pressing makes; None where it was not
        used.
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


def _fit(
    terms: FloatArray, values: FloatArray, spreads: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return coefficients by Tukey's biweight, and the covariance of their errors.

    Parameters
    ----------
    terms, values
        Shapes (notes, terms) and (notes,).
    spreads
        Standard deviation of each coefficient about 0 before anything is heard, infinite where it
        may be anything.
    """
    weights: FloatArray = np.ones(values.size)
    fit: FloatArray = np.zeros(terms.shape[1])
    sigma = 1.0
    for step in range(20):
        held = np.diag((sigma / spreads) ** 2)
        normal = (terms * weights[:, None]).T @ terms + held
        fit = np.asarray(np.linalg.pinv(normal) @ (terms.T @ (weights * values)), np.float64)
        rest = values - terms @ fit
        sigma = max(MAD_TO_SIGMA * float(np.median(np.abs(rest))), _LEAST_SIGMA_CENTS)
        if step < 10:
            weights = 1.0 / np.maximum(np.abs(rest) / sigma, 0.3)
        else:
            weights = np.square(np.maximum(1.0 - (rest / (_TUKEY * sigma)) ** 2, 1e-6))
    told = (terms * weights[:, None]).T @ terms
    inverse = np.linalg.pinv(told + np.diag((sigma / spreads) ** 2))
    free = float(np.trace(inverse @ told))
    return fit, np.asarray(inverse * values.size / (values.size - free) * sigma**2)


def _spreads(pressing_cents: float) -> FloatArray:
    return np.array([np.inf, pressing_cents, np.inf, np.inf])


def _pitch_of(
    string: int,
    frets: FloatArray,
    cents: FloatArray,
    setup: Setup,
    capo: int,
    *,
    glides: FloatArray,
) -> StringPitch | None:
    if frets.size < _LEAST_NOTES or np.ptp(frets) < 5.0:
        return None
    places = setup.places_mm
    first = min(capo + 1, places.size - 1)
    behind = places[np.asarray(frets, np.int64)] - places[capo]
    nut = np.where(frets > capo, (places[first] - places[capo]) / np.maximum(behind, 1e-6), 0.0)
    place = 2.0 ** (frets / 12.0) - 2.0 ** (capo / 12.0)
    terms = np.stack([np.ones(frets.size), frets > capo, place, nut], axis=1)
    fit, covariance = _fit(terms, cents, _spreads(_PRESSING_CENTS))
    if fit[1] < 0.0:
        # no finger makes a string flat
        fit, covariance = _fit(terms, cents, _spreads(_NO_CENTS))
    if np.any(np.abs(cents[frets == capo] - fit[0]) > _OPEN_OFF_CENTS):
        return None
    # tuning; the 12th fret, pressed, against the open string; the nut
    parts = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
    tuning, saddle, above = (parts @ fit).tolist()
    # what is more than is believed was not taken off at all
    left = _LEFT_OF_GLIDE * glides + np.maximum(glides - MOST_CENTS, 0.0)
    gliding, _ = _fit(terms, left, _spreads(_PRESSING_CENTS))
    error = np.sqrt(
        np.diag(parts @ covariance @ parts.T) + _SHARED_CENTS**2 + (parts @ gliding) ** 2
    )
    return StringPitch(
        string=string,
        tuning_cents=tuning,
        tuning_error=float(error[0]),
        saddle_cents=saddle,
        saddle_error=float(error[1]),
        nut_cents=above,
        nut_error=float(error[2]),
        n_notes=int(frets.size),
        first_cents=float(cents[frets == first][0] - cents[frets == capo][0] - fit[1])
        if np.any(frets == first)
        else None,
    )


def string_pitches(
    guitar: Guitar,
    positions: Sequence[Position],
    setup: Setup,
    *,
    offset_cents: float,
    glides: Mapping[Place, float],
) -> tuple[StringPitch, ...]:
    """Return the split for every string with enough notes in tune enough to use.

    Notes that strike a fret are left out: they sound some cents sharp. The open string must be
    among those that are left: nut, saddle and tuning are all told against it.

    Parameters
    ----------
    offset_cents
        Of the instrument as a whole.
    glides
        How much sharper than where it settles each place is at the onset, in cents, where told.
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
        known = [glides[string, int(fret)] for fret in frets[near] if (string, int(fret)) in glides]
        usual = float(np.median(known)) if known else 0.0
        gliding = np.array([glides.get((string, int(fret)), usual) for fret in frets[near]])
        found = _pitch_of(string, frets[near], cents[near], setup, guitar.capo, glides=gliding)
        if found is not None:
            out.append(found)
    return tuple(out)
