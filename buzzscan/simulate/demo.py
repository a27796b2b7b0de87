"""The demo recordings: one guitar before and after its frets were dressed.

Run ``python -m buzzscan.simulate.demo`` to write recordings/before.flac, recordings/after.flac
and their truth again.

Conventions
-----------
An invented guitar of an invented shop. Before: fret 9 is high under strings 1 to 4, and the
neck has a resonance that no file will cure. After: fret 9 is level, the resonance is still
there, everything else is as it was.

Limits
------
The same bytes come out wherever the same numerical libraries run; elsewhere samples may differ
by the last bit.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from buzzscan.guitar import Guitar, load_guitar
from buzzscan.simulate.chain import Chain
from buzzscan.simulate.files import write_take
from buzzscan.simulate.instrument import Fault, Resonance, SimGuitar, drawn_body
from buzzscan.simulate.performance import Performance
from buzzscan.simulate.take import Take, simulate_take

__all__ = ["demo_take", "main"]

HIGH_FRET = 9
HIGH_MM = 0.14
HIGH_UNDER = (1, 2, 3, 4)
DEAD_SPOT = Resonance(frequency_hz=207.65, conductance_s_kg=0.012, q=30.0)
"""G#3: string 3 at fret 1, string 4 at fret 6, string 5 at fret 11, string 6 at fret 16."""

BODY_SEED = 9
PERFORMANCE = Performance(pace_s=0.55, amplitude_mm=0.5, gap_s=0.03, pick_noise=0.02, finger_sd=0.1)
CHAIN = Chain(noise_dbfs=-74.0, noise="pink", peak_dbfs=-4.0, sample_rate_hz=32000)


def demo_take(guitar: Guitar, *, dressed: bool, performance: Performance = PERFORMANCE) -> Take:
    """Return the take before or after the fret dress.

    Parameters
    ----------
    guitar
        The demo's guitar.
    dressed
        False for the take before.
    performance
        How it is played.
    """
    high = Fault(kind="fret", amount=HIGH_MM, fret=HIGH_FRET, strings=HIGH_UNDER)
    made = SimGuitar.from_guitar(
        guitar,
        faults=() if dressed else (high,),
        resonances=(DEAD_SPOT, *drawn_body(np.random.default_rng(BODY_SEED))),
        roughness_mm=0.006,
        roughness_seed=417,
    )
    return simulate_take(made, performance, CHAIN, seed=418 if dressed else 417)


def main(folder: Path = Path("recordings")) -> None:
    """Write both takes into a folder that holds guitar.toml."""
    guitar = load_guitar(folder / "guitar.toml")
    for name, dressed in (("before", False), ("after", True)):
        paths = write_take(demo_take(guitar, dressed=dressed), folder / f"{name}.flac")
        print(f"{name}: {', '.join(map(str, paths))}", file=sys.stderr)  # noqa: T201


if __name__ == "__main__":
    main()
