"""The partials of a plucked string: first partial and inharmonicity, fitted together.

Conventions
-----------
Partial n of a stiff string lies at ``n · f0 · sqrt(1 + B·n²)`` (Fletcher, J. Acoust. Soc. Am.
36, 1964). `PartialFit.pitch_hz` is the first partial, ``f0 · sqrt(1 + B)``: what a tuner
reads. Levels are dB re a full-scale sine. Standard errors are one sigma.

Limits
------
One note at a time, at least `LEAST_PERIODS` periods of it. The fit is a straight line through
the partials; a body that shifts a low partial, a neighbour string or mains hum on a partial
are set aside as long as they are the minority.
"""

from buzzscan.partials.fitting import LEAST_PERIODS, PartialFit, fit_partials, measure_partials
from buzzscan.partials.line import partial_ratios

__all__ = ["LEAST_PERIODS", "PartialFit", "fit_partials", "measure_partials", "partial_ratios"]
