"""buzzscan listens to a chromatic run over a neck and tells which fret buzzes, chokes or dies.

`scan` takes recordings and a guitar and returns a `Scan`; all outputs are made from it.

Conventions
-----------
Importing the package is cheap: what is heavy loads on first use.

Limits
------
One instrument and one player at a time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from buzzscan.guitar import Guitar, load_guitar
    from buzzscan.neck.verdict import Bars
    from buzzscan.recording import Recording, open_recording, recording_from_samples
    from buzzscan.scanfile import read_scan
    from buzzscan.scanning import Scan, scan

__all__ = [
    "Bars",
    "Guitar",
    "Recording",
    "Scan",
    "__version__",
    "load_guitar",
    "open_recording",
    "read_scan",
    "recording_from_samples",
    "scan",
]

__version__ = "0.1.0"

_HOMES = {
    "Bars": "buzzscan.neck.verdict",
    "Guitar": "buzzscan.guitar",
    "Recording": "buzzscan.recording",
    "Scan": "buzzscan.scanning",
    "load_guitar": "buzzscan.guitar",
    "open_recording": "buzzscan.recording",
    "read_scan": "buzzscan.scanfile",
    "recording_from_samples": "buzzscan.recording",
    "scan": "buzzscan.scanning",
}


def __getattr__(name: str) -> Any:
    """Load a public name from its module on first use (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module 'buzzscan' has no attribute {name!r}")
    import importlib

    value = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value
