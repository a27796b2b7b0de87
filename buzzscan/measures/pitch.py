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

MOST_ERROR_CENTS = 2.0
"""Standard error from which a pitch says nothing about intonation, and is withheld."""
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
_LEAST_ERROR_CENTS = 0.05
"""What two polarisations leave within even the clearest pitch."""
_LEAST_SCATTER_CENTS = 0.05
_PERIODS_TO_PART_FRETS = 34.0
"""Periods in which the first partial parts from that of the next fret, which may still sound in
the room: a semitone is 6 per cent, the main lobe 2 bins."""
_SHIFT_SIGMAS = 2.0
"""Standard errors from which the first partial's own place counts against the others'."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardString:
    """The partials of a note and the stretch they were read from, seconds after the onset."""

    fit: PartialFit
    start_s: float
    stop_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pitch:
    """First partial and its standard error, or None with the reason."""

    hz: float | None
    error_cents: float | None
    reason: str


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

    All partials tell it together, unless the first partial itself, steady and clear, lies
    elsewhere: then the neck or the body pulls it, and a tuner reads it there.

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
    shift, own_error = 0.0, 0.0
    if (heard.stop_s - heard.start_s) * fit.pitch_hz > _PERIODS_TO_PART_FRETS:
        shift, own_error = _own_shift(fit, glide.first_unrest_cents)
    error = float(
        np.sqrt(
            fit.pitch_error_cents**2 + glide.error_cents**2 + own_error**2 + _LEAST_ERROR_CENTS**2
        )
    )
    if error > MOST_ERROR_CENTS:
        reason = f"pitch is told within {error:.1f} cents only, need {MOST_ERROR_CENTS:.0f}"
        return Pitch(hz=None, error_cents=None, reason=reason)
    hz = fit.pitch_hz * cents_to_ratio(shift - glide.cents)
    return Pitch(hz=hz, error_cents=error, reason="")


def _own_shift(fit: PartialFit, unrest_cents: float | None) -> tuple[float, float]:
    """Return how far the first partial itself is believed to lie off the fit, and its error."""
    if fit.numbers[0] != 1 or unrest_cents is None:
        return 0.0, 0.0
    off = hz_to_cents(fit.frequencies_hz[0], fit.pitch_hz)
    scatter = max(fit.scatter_cents, _LEAST_SCATTER_CENTS)
    sigma = float(np.sqrt(fit.errors_cents[0] ** 2 + scatter**2 + unrest_cents**2))
    if not _SHIFT_SIGMAS * sigma < abs(off) < _MOST_SHIFT_CENTS:
        return 0.0, 0.0
    trust = 1.0 - (_SHIFT_SIGMAS * sigma / off) ** 2
    return trust * off, trust * sigma
