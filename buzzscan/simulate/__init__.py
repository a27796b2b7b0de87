"""A string over frets, simulated: audio with its truth, for tests and for trying faults out.

`simulate_take` plays a run on a `SimGuitar`; `simulate_to_folder` does it from files.

Conventions
-----------
Shares no code with the analysis, so that accuracy tests do not go round in a circle.

Limits
------
See the modules: `strings`, `geometry`, `modes`, `plucking`, `collision`, `note`, `chain`.
"""

from buzzscan.simulate.chain import Chain
from buzzscan.simulate.files import read_faults, simulate_to_folder, write_take
from buzzscan.simulate.instrument import Fault, Resonance, SimGuitar, drawn_body
from buzzscan.simulate.performance import Performance
from buzzscan.simulate.take import Take, TrueNote, simulate_take

__all__ = [
    "Chain",
    "Fault",
    "Performance",
    "Resonance",
    "SimGuitar",
    "Take",
    "TrueNote",
    "drawn_body",
    "read_faults",
    "simulate_take",
    "simulate_to_folder",
    "write_take",
]
