"""What the pitch of the whole instrument tells: where it lies, and a recording read too fast.

Conventions
-----------
Offsets in cents of the whole instrument against its tuning; positive is sharp.

Limits
------
Only the confusion of 44.1 with 48 kHz (and 22.05 with 24, 88.2 with 96) can be told from pitch
alone: it moves everything by a fret and a half, and no tuning lies between two frets. A factor
of two is whole octaves, and looks like another instrument.
"""

from __future__ import annotations

import math
from dataclasses import replace

from buzzscan.guitar import Guitar
from buzzscan.recording import Recording, RecordingWarning

__all__ = ["offset_remarks", "told_of_speed"]

_OFFSET_CENTS = 12.0
"""From here on the instrument's offset is worth a word: tuners read 5 to 10 cents apart."""

_RATIO = 48_000 / 44_100
_FRET_CENTS = 100.0
_BETWEEN_FRETS_CENTS = 1200.0 * math.log2(_RATIO) % _FRET_CENTS
"""What is left of 147 cents on the nearest fret."""
_WITHIN_CENTS = 8.0
"""A tuner and a careful hand set the strings within a few cents."""


def offset_remarks(offset_cents: float, guitar: Guitar) -> tuple[str, ...]:
    """Return what to say about how far the instrument as a whole lies from its pitch."""
    if abs(offset_cents) <= _OFFSET_CENTS:
        return ()
    side = "above" if offset_cents > 0 else "below"
    lies = f"the whole instrument lies {abs(offset_cents):.0f} cents {side} its nominal pitch"
    return (f"{lies} (A4 = {guitar.a4_hz:g} Hz)",)


def told_of_speed(recordings: tuple[Recording, ...], offset_cents: float) -> tuple[Recording, ...]:
    """Return the recordings, with a warning where all lie off as a wrong speed would have them.

    Parameters
    ----------
    recordings
        Of one instrument.
    offset_cents
        How far the whole instrument lies off its tuning.
    """
    if abs(abs(offset_cents) - _BETWEEN_FRETS_CENTS) > _WITHIN_CENTS:
        return recordings
    sharp = offset_cents > 0.0
    made, read = ("44.1", "48") if sharp else ("48", "44.1")
    percent = 100.0 * (_RATIO - 1.0 if sharp else 1.0 - 1.0 / _RATIO)
    warning = RecordingWarning(
        code="speed",
        message=f"all strings lie {offset_cents:+.0f} cents off, between two frets, as a "
        f"{made} kHz recording read as {read} kHz does: then every fret, or the tuning that was "
        f"found, is named one too {'high' if sharp else 'low'}, and decays are {percent:.0f} % too "
        f"{'fast' if sharp else 'slow'}. If a tuner shows the open strings in tune, export the "
        "recording again at its own rate",
    )
    return tuple(replace(r, warnings=(*r.warnings, warning)) for r in recordings)
