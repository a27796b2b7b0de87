"""The pitch of a note: its first partial, once the attack's glide has settled.

Conventions
-----------
Frequencies in Hz, errors in cents, one sigma. Times are seconds after the onset.

Limits
------
A note shorter than some five periods after its attack has no pitch. The string is looked for
near its place on the neck first, then where the search for notes heard it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.measures.first_partial import read_own_pitch
from buzzscan.measures.glide import Glide, glide_of
from buzzscan.measures.tracking import Track
from buzzscan.partials import LEAST_PERIODS, PartialFit, fit_partials
from buzzscan.units import cents_to_ratio, hz_to_cents

__all__ = ["MOST_ERROR_CENTS", "HeardString", "Pitch", "hear_string", "settled_pitch"]

MOST_ERROR_CENTS = 1.5
"""Standard error from which a pitch says nothing about intonation, and is withheld: ±3 cents."""
_SETTLED_S = 0.08
_SETTLED_RATIO = 0.3
"""The glide is mostly over after 80 ms; a fast note is listened to after a third of it."""
_LONGEST_S = 0.6
"""Longer stretches add little: high partials have died away."""
_END_MARGIN_S = 0.015
"""Kept away from the end, where the next note or the damping hand may already be."""
_HEARD_ELSEWHERE_CENTS = 50.0
_MOST_SHIFT_CENTS = 25.0
"""Neck and body pull a first partial by some cents, next to a strong resonance by up to 15 or 20
(a guitar's body does, on real notes too); farther off, it may be another sound."""
_LEAST_ERROR_CENTS = 0.25
"""What two polarisations leave within even the clearest pitch: they lie about a cent apart, and
the second has about a quarter of the sound (common practice, no source)."""
_SHIFTS_HZ, _SHIFT_ODDS = np.array([0.02, 0.1]), np.array([0.8, 0.2])
"""By which neck and body move a partial (T/L times their mobility's imaginary part, over 2π):
between their resonances, and how often it lies on the flank of one, a dead spot's among them."""
_CENTS = 1200.0 / float(np.log(2.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardString:
    """The partials of a note and the stretch they were read from, seconds after the onset."""

    fit: PartialFit
    start_s: float
    stop_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pitch:
    """First partial and its standard error, or None with the reason; glide at the onset."""

    hz: float | None
    error_cents: float | None
    reason: str
    glide_cents: float | None = None


def settled_span_s(length_s: float, pitch_hz: float) -> tuple[float, float] | None:
    """Return the stretch of a note to fit, or None if it holds too few periods."""
    start = min(_SETTLED_S, _SETTLED_RATIO * length_s)
    stop = min(length_s - _END_MARGIN_S, start + _LONGEST_S)
    need = (LEAST_PERIODS + 0.5) / pitch_hz
    if stop - start < need:
        start = max(0.15 * length_s, stop - need)
    if stop - start < need:
        stop = min(length_s, start + need)
    return (start, stop) if stop - start >= need * 0.98 else None


def hear_string(
    samples: npt.NDArray[np.floating],
    *,
    sample_rate_hz: float,
    placed_hz: float,
    heard_hz: float | None,
) -> HeardString | None:
    """Return the partials of a note, or None if no string is heard.

    Parameters
    ----------
    samples
        Mono, shape (n,), from the onset to the end.
    sample_rate_hz
        Rate of `samples`.
    placed_hz
        Nominal pitch of its place on the neck.
    heard_hz
        Pitch as the search for notes heard it, if it did.
    """
    starts = [placed_hz]
    if heard_hz is not None:
        apart = abs(hz_to_cents(heard_hz, placed_hz))
        starts = [placed_hz, heard_hz] if apart > _HEARD_ELSEWHERE_CENTS else [heard_hz]
    best: HeardString | None = None
    for start_hz in starts:
        span = settled_span_s(len(samples) / sample_rate_hz, start_hz)
        if span is None:
            continue
        first, last = (round(s * sample_rate_hz) for s in span)
        fit = fit_partials(samples[first:last], sample_rate_hz=sample_rate_hz, expected_hz=start_hz)
        if fit is not None and (best is None or fit.explained_ratio > best.fit.explained_ratio):
            best = HeardString(fit=fit, start_s=span[0], stop_s=span[1])
    return best


def settled_pitch(
    samples: npt.NDArray[np.floating],
    heard: HeardString,
    *,
    sample_rate_hz: float,
    decay_db_per_s: float | None,
    track: Track | None = None,
) -> Pitch:
    """Return the first partial where the glide has settled.

    All partials tell it together with the first partial itself, which the neck and the body may
    pull elsewhere: as far as its place is steady and clear, a tuner reads it there.

    Parameters
    ----------
    samples
        Mono, shape (n,), from the onset on.
    heard
        The note's partials.
    sample_rate_hz
        Rate of `samples`.
    decay_db_per_s
        Fall of the first partial, None if not known.
    track
        The first partial over the whole note, None if it could not be followed.
    """
    fit = heard.fit
    first, last = round(heard.start_s * sample_rate_hz), round(heard.stop_s * sample_rate_hz)
    glide = glide_of(
        samples[first:last],
        fit,
        sample_rate_hz=sample_rate_hz,
        start_s=heard.start_s,
        decay_db_per_s=decay_db_per_s,
    )
    reading = _own_reading(fit, glide, track)
    if reading is not None and abs(reading[0]) > _MOST_SHIFT_CENTS:
        reason = f"first partial lies {abs(reading[0]):.0f} cents off the others: another sound?"
        return Pitch(hz=None, error_cents=None, reason=reason, glide_cents=glide.onset_cents)
    shift, left = _own_shift(fit, reading)
    error = float(np.hypot(np.hypot(left, glide.error_cents), _LEAST_ERROR_CENTS))
    if error > MOST_ERROR_CENTS:
        reason = f"pitch is told within {error:.1f} cents only, need {MOST_ERROR_CENTS:.1f}"
        return Pitch(hz=None, error_cents=None, reason=reason, glide_cents=glide.onset_cents)
    hz = fit.pitch_hz * cents_to_ratio(shift - glide.cents)
    return Pitch(hz=hz, error_cents=error, reason="", glide_cents=glide.onset_cents)


def _own_reading(fit: PartialFit, glide: Glide, track: Track | None) -> tuple[float, float] | None:
    """Return how far off the fit the first partial itself is read, and the reading's error.

    Followed over the whole note where it can be: late, the room has settled.
    """
    own = None if track is None else read_own_pitch(track, fall_per_s=glide.fall_per_s)
    if own is not None:
        early = glide.cents - glide.believed_onset_cents * own.mean_energy
        return hz_to_cents(own.hz, fit.pitch_hz) + early, _CENTS * own.error_hz / fit.pitch_hz
    if fit.numbers[0] != 1 or glide.unrest_cents is None:
        return None
    error = float(np.hypot(fit.errors_cents[0], glide.unrest_cents))
    return hz_to_cents(fit.frequencies_hz[0], fit.pitch_hz), error


def _own_shift(fit: PartialFit, reading: tuple[float, float] | None) -> tuple[float, float]:
    """Return how far the first partial itself is believed to lie off the fit, and the error left.

    What the neck and the body do to it stays, what the room or a neighbour do does not. How much
    the first may do is known roughly: by the other partials' scatter, and by what is usual,
    with and without a resonance nearby. Each of the two counts by how likely it makes the reading.
    """
    if reading is None:
        return 0.0, fit.pitch_error_cents
    off, error = reading
    variance = (_CENTS / fit.pitch_hz * _SHIFTS_HZ) ** 2 + max(fit.scatter_cents**2 - error**2, 0.0)
    trust = variance / (variance + error**2)
    seen = variance + error**2 + fit.pitch_error_cents**2
    # in logs, since a reading far off is next to impossible under both
    log_odds = np.log(_SHIFT_ODDS) - 0.5 * (np.log(seen) + off**2 / seen)
    odds = np.exp(log_odds - log_odds.max())
    odds /= odds.sum()
    mean = float(odds @ trust)
    left = (1.0 - trust) ** 2 * fit.pitch_error_cents**2 + trust * error**2
    return mean * off, float(np.sqrt(odds @ (left + (trust - mean) ** 2 * off**2)))
