"""Whether the notes fall as plucked strings do.

Conventions
-----------
Rates in dB/s of the whole note's level.

Limits
------
A bowed or blown instrument that plays a chromatic scale, or a compressor that holds every note
up, is noticed; a struck or plucked instrument of another kind is not.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from buzzscan.measures.measured import MeasuredNote

__all__ = ["held_remarks"]

_LEAST_FALL_DB_PER_S = 1.5
"""Half of what the lowest strings of basses fall by in the middle (own measurements on real and
simulated notes); most notes of a neck fall several times as fast."""
_FEWEST = 10


def held_remarks(notes: Sequence[MeasuredNote]) -> tuple[str, ...]:
    """Return what to say where most notes hold their level instead of falling, or nothing.

    Parameters
    ----------
    notes
        All measured notes of a scan.
    """
    rates = [n.whole_decay_db_per_s for n in notes if n.whole_decay_db_per_s is not None]
    if len(rates) < _FEWEST or median(rates) >= _LEAST_FALL_DB_PER_S:
        return ()
    told = (
        f"most notes hold their level ({median(rates):.1f} dB/s in the middle) where a plucked "
        "string falls: this may be another instrument, or a compressor; decay and buzz of such "
        "a take mean little"
    )
    return (told,)
