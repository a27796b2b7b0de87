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

import numpy as np
import numpy.typing as npt

from buzzscan.partials import LEAST_PERIODS, PartialFit, fit_partials

__all__ = ["fit_note"]

_SETTLED_S = 0.08
_SETTLED_RATIO = 0.3
"""The glide is mostly over after 80 ms; a fast note is listened to after a third of it."""
_LONGEST_S = 0.6
"""Longer stretches add little: high partials have died away."""
_END_MARGIN_S = 0.015
"""Kept away from the end, where the next note or the damping hand may already be."""
_HEARD_ELSEWHERE_CENTS = 50.0


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


def fit_note(
    samples: npt.NDArray[np.floating],
    *,
    sample_rate_hz: float,
    length_s: float,
    placed_hz: float,
    heard_hz: float | None,
) -> PartialFit | None:
    """Return the fit of a note's partials, or None if no string is heard.

    Parameters
    ----------
    samples
        Mono, shape (n,), from the onset on.
    sample_rate_hz
        Rate of `samples`.
    length_s
        From the onset to the end of the note.
    placed_hz
        Nominal pitch of its place on the neck.
    heard_hz
        Pitch as the search for notes heard it, if it did.
    """
    starts = [placed_hz]
    if heard_hz is not None:
        apart = abs(1200.0 * np.log2(heard_hz / placed_hz))
        if apart > _HEARD_ELSEWHERE_CENTS:
            starts.append(heard_hz)
        else:
            starts = [heard_hz]
    best: PartialFit | None = None
    for start_hz in starts:
        span = settled_span_s(length_s, start_hz)
        if span is None:
            continue
        first, last = (round(s * sample_rate_hz) for s in span)
        fit = fit_partials(samples[first:last], sample_rate_hz=sample_rate_hz, expected_hz=start_hz)
        if fit is not None and (best is None or fit.explained_ratio > best.explained_ratio):
            best = fit
    return best
