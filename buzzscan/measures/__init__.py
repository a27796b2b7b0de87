"""Measures of each note: pitch, inharmonicity, decay, buzz and contact.

Conventions
-----------
`measure_notes` is the way in. `pitch_hz` is the first partial: what a tuner reads.

Limits
------
What a recording cannot tell is None with a reason, never a guess.
"""

from buzzscan.measures.measure import measure_notes, offset_of
from buzzscan.measures.measured import BuzzMeasure, MeasuredNote
from buzzscan.measures.sustaining import held_remarks

__all__ = ["BuzzMeasure", "MeasuredNote", "held_remarks", "measure_notes", "offset_of"]
