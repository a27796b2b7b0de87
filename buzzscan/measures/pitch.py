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

from buzzscan.measures.glide import glide_of
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
_MOST_SHIFT_CENTS = 15.0
"""Neck and body pull a first partial by some cents; farther off, it is another sound."""
_LEAST_ERROR_CENTS = 0.25
"""What two polarisations leave within even the clearest pitch: they lie about a cent apart, and
the second has about a quarter of the sound (common practice, no source)."""
_USUAL_SHIFT_HZ = 0.02
"""By which neck and body move a partial (T/L times their mobility's imaginary part, over 2π)."""
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
    shift, left = _own_shift(fit, glide.unrest_cents)
    error = float(np.hypot(np.hypot(left, glide.error_cents), _LEAST_ERROR_CENTS))
    if error > MOST_ERROR_CENTS:
        reason = f"pitch is told within {error:.1f} cents only, need {MOST_ERROR_CENTS:.1f}"
        return Pitch(hz=None, error_cents=None, reason=reason, glide_cents=glide.onset_cents)
    hz = fit.pitch_hz * cents_to_ratio(shift - glide.cents)
    return Pitch(hz=hz, error_cents=error, reason="", glide_cents=glide.onset_cents)


def _own_shift(fit: PartialFit, unrest_cents: float | None) -> tuple[float, float]:
    """Return how far the first partial itself is believed to lie off the fit, and the error left.

    What the neck and the body do to it stays, what the room or a neighbour do does not: the
    partials' scatter holds both, their unrest the second alone.
    """
    alone = (0.0, fit.pitch_error_cents)
    if fit.numbers[0] != 1 or unrest_cents is None:
        return alone
    off = hz_to_cents(fit.frequencies_hz[0], fit.pitch_hz)
    if abs(off) > _MOST_SHIFT_CENTS:
        return alone
    usual = _CENTS * _USUAL_SHIFT_HZ / fit.pitch_hz
    reading = fit.errors_cents[0] ** 2 + unrest_cents**2
    lasting = max(fit.scatter_cents**2 - reading, 0.0) + usual**2
    trust = lasting / (lasting + reading)
    left = (1.0 - trust) ** 2 * fit.pitch_error_cents**2 + trust * reading
    return trust * off, float(np.sqrt(left))
