"""The glide of a hard attack: how sharp a note still is, and where it settles.

Conventions
-----------
Cents, positive is sharp of the settled pitch. Times are seconds after the onset.

Limits
------
A string that swings far is stretched; its tension, and with it every partial alike, falls with
the square of the amplitude (Legge & Fletcher, J. Acoust. Soc. Am. 76, 1984). Only a glide that
most partials share is taken off: two polarisations of one partial beat, they do not glide.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from buzzscan.partials import LEAST_PERIODS, PartialFit, measure_partials
from buzzscan.units import DB_PER_NEPER, MAD_TO_SIGMA

__all__ = ["MOST_CENTS", "Glide", "glide_of"]

FloatArray = npt.NDArray[np.float64]

_CENTS = 1200.0 / float(np.log(2.0))
_LEAST_WEIGHT = 0.5
_LEAST_OVER_NOISE_DB = 16.0
_MOST_PARTIALS = 16
_LEAST_PARTIALS = 3
_FLOOR_CENTS = 0.01
"""Agreement of partials that is never undercut: the leakage between them."""
MOST_CENTS = 12.0
"""Glide at the onset: a 2 mm swing on a thin string gives 1.5 to 4 cents; 5 mm six times that,
and nobody sets up a guitar for it."""
_USUAL_CENTS = 1.5
"""Glide at the onset of a note played hard: swings of 1 to 2 mm on the strings named above."""
_SHARE_OF_CORRECTION = 0.25
"""Doubt about a correction: energy does not fall quite as the first partial does."""
_MOST_LEVER = 12.0
"""Settled pitch over change between the halves: beyond this, any other drift is blown up."""
_LOWEST_FOR_UNREST = 6
_MOST_ONSET_ERROR_CENTS = 2.0
"""A reading at the onset that is less sure than this says nothing: a hard pluck gives as much."""
_LOWEST = 5
_MOST_TIMES_FIRST = 4.0
"""Beyond, it is beats and noise that fall."""
_LEAST_DECAY_PER_S = 0.4
_ROBUST = 2.5
_ALONG = (np.arange(64) + 0.5) / 64.0
_WEIGHT_ALONG = np.sin(np.pi * _ALONG) ** 4
_WEIGHT_ALONG /= _WEIGHT_ALONG.sum()
"""The reading of a sinusoid's place in a Hann window weighs the time by the window's square."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Glide:
    """How sharp a stretch is as a whole.

    Parameters
    ----------
    cents, error_cents
        Glide within the pitch of the stretch, and its standard error.
    believed_onset_cents, fall_per_s
        What `cents` comes to at the onset, and the fall of the string's amplitude: the glide at
        any time.
    onset_cents
        The same at the onset, as it was read: not weighed by how sure it is, so that a mean over
        many notes is not drawn to nothing. None where there is nothing to read it from.
    unrest_cents
        How much the first partial may have been moved by what does not last: as it and the
        lowest others moved against the rest between the halves, None if unknown.
    """

    cents: float
    error_cents: float
    believed_onset_cents: float = 0.0
    fall_per_s: float = _LEAST_DECAY_PER_S
    onset_cents: float | None = None
    unrest_cents: float | None = None


_NO_GLIDE = Glide(cents=0.0, error_cents=0.0)


def glide_of(
    samples: npt.NDArray[np.floating],
    fit: PartialFit,
    *,
    sample_rate_hz: float,
    start_s: float,
    decay_db_per_s: float | None,
) -> Glide:
    """Return how far the pitch of a stretch lies above where the note settles.

    The change from the first to the second half of the stretch, in cents and averaged over the
    partials, tells the glide at the onset; it fades as the energy does.

    Parameters
    ----------
    samples
        The stretch that was fitted, shape (n,).
    fit
        Its partials.
    sample_rate_hz
        Rate of `samples`.
    start_s
        Where the stretch starts.
    decay_db_per_s
        Fall of the first partial, None if not known.
    """
    duration_s = len(samples) / sample_rate_hz
    lines = [
        (over, f)
        for f, over, used, n in zip(
            fit.frequencies_hz, fit.over_noise_db, fit.used, fit.numbers, strict=True
        )
        if n == 1 or (used > _LEAST_WEIGHT and over > _LEAST_OVER_NOISE_DB)
    ]
    if len(lines) < _LEAST_PARTIALS or 0.5 * duration_s * fit.pitch_hz < LEAST_PERIODS:
        return _NO_GLIDE
    # In the order of the partials; the first always takes part.
    chosen = sorted(lines[1:], reverse=True)[: _MOST_PARTIALS - 1]
    frequencies = sorted(f for _, f in (lines[0], *chosen))
    half = len(samples) // 2
    (early, early_error), (late, late_error) = (
        measure_partials(piece, sample_rate_hz=sample_rate_hz, frequencies_hz=frequencies)
        for piece in (samples[:half], samples[half:])
    )
    ok = np.isfinite(early_error) & np.isfinite(late_error)
    if ok.sum() < _LEAST_PARTIALS:
        return _NO_GLIDE
    fall = -_CENTS * np.log(late[ok] / early[ok])
    own = _CENTS * np.hypot(early_error[ok], late_error[ok]) / early[ok]
    change, error = _shared(fall, np.hypot(own, _FLOOR_CENTS))
    sigma = max(_fall_of(fit, decay_db_per_s) / DB_PER_NEPER, _LEAST_DECAY_PER_S)
    first, second, whole = (
        _mean_energy(sigma, start_s + a * duration_s, b * duration_s)
        for a, b in ((0.0, 0.5), (0.5, 0.5), (0.0, 1.0))
    )
    glide = _judged(change, error, whole / (first - second), whole)
    glide = replace(glide, believed_onset_cents=glide.cents / whole, fall_per_s=sigma)
    if error <= _MOST_ONSET_ERROR_CENTS * (first - second):
        glide = replace(glide, onset_cents=change / (first - second))
    number = np.asarray(frequencies)[ok] / fit.pitch_hz
    return replace(glide, unrest_cents=_unrest(fall - change, number))


def _unrest(moves: FloatArray, number: FloatArray) -> float:
    """Return the standard error of the first partial by its own move and those of the lowest.

    A room moves all partials by about as many Hz, a stranger only the one it beats with. Two
    halves have half the error of their difference.
    """
    of_first = np.abs(moves * number)[:_LOWEST_FOR_UNREST]
    shared = MAD_TO_SIGMA * statistics.median(of_first.tolist())
    own = float(of_first[0]) if round(float(number[0])) == 1 else 0.0
    return 0.5 * float(np.hypot(shared, own))


def _fall_of(fit: PartialFit, decay_db_per_s: float | None) -> float:
    """Return the fall in dB/s of what stretches the string.

    The stretch is the sum of (n·a_n)²: the first partial has about half of a plucked string's,
    the next four most of the rest, and those fall faster.
    """
    low = sorted(fit.decays_db_per_s[:_LOWEST])
    middle = low[len(low) // 2]
    if decay_db_per_s is None:
        return middle
    first = max(decay_db_per_s, _LEAST_DECAY_PER_S * DB_PER_NEPER)
    return float(np.sqrt(first * min(max(first, middle), _MOST_TIMES_FIRST * first)))


def _shared(values: FloatArray, errors: FloatArray) -> tuple[float, float]:
    """Return a robust mean and its standard error, from the scatter where that is larger."""
    mean = statistics.median(values.tolist())
    scatter = MAD_TO_SIGMA * statistics.median(np.abs(values - mean).tolist())
    sd = np.hypot(errors, scatter)
    for _ in range(3):
        weights = 1.0 / sd**2 / (1.0 + ((values - mean) / sd / _ROBUST) ** 2)
        mean = float((weights * values).sum() / weights.sum())
    return mean, float(1.0 / np.sqrt(weights.sum()))


def _mean_energy(sigma: float, start_s: float, duration_s: float) -> float:
    """Return the string's energy re the onset as a Hann window's frequency reading weighs it."""
    energy = np.exp(-2.0 * sigma * (start_s + duration_s * _ALONG))
    return float(_WEIGHT_ALONG @ energy)


def _judged(change: float, error: float, lever: float, whole: float) -> Glide:
    """Return the glide of the whole stretch, by what the change is worth against what is usual."""
    lever = min(lever, _MOST_LEVER)
    usual = _USUAL_CENTS * whole
    doubt = error * lever
    known = usual**2 / (usual**2 + doubt**2)
    # No attack makes a note flat.
    cents = float(np.clip(known * change * lever, 0.0, MOST_CENTS * whole))
    left = np.hypot(np.sqrt(known) * doubt, _SHARE_OF_CORRECTION * cents)
    return Glide(cents=cents, error_cents=float(left))
