"""What a recording is to the rest of the package.

Conventions
-----------
As `buzzscan.recording`.

Limits
------
The types only; how they come about is in `buzzscan.recording.opening`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

__all__ = ["Recording", "RecordingWarning", "SampleSource", "Samples"]

Samples = npt.NDArray[np.float32]


class SampleSource(Protocol):
    """Where a recording's samples come from."""

    def read(self, start: int, stop: int) -> Samples:
        """Return samples ``start`` (included) to ``stop`` (excluded), float32, mono."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingWarning:
    """One thing about a recording that spoils measures.

    Parameters
    ----------
    code
        Short fixed name, for example "clipped".
    message
        What was found, the value, what it spoils and what to do.
    spoils
        Names of the measures that are withheld because of it: any of "pitch_hz",
        "inharmonicity", "decay_db_per_s", "buzz_db", "contact".
    """

    code: str
    message: str
    spoils: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """One recording, ready to be listened to.

    Parameters
    ----------
    name
        File name (made unique within a scan), no folder.
    sha256
        Hash of the file's bytes, hexadecimal; of the samples for a recording from memory.
    sample_rate_hz
        Rate of the samples that `read` returns (at most 50 kHz).
    file_rate_hz
        Rate of the file.
    n_samples
        Length at `sample_rate_hz`.
    peak_dbfs, noise_dbfs
        Highest sample, and the level between notes, in dB re full scale.
    warnings
        What about it spoils measures.
    path
        Where it was read from, or None for samples from memory.
    source
        Reader of its samples.
    """

    name: str
    sha256: str
    sample_rate_hz: int
    file_rate_hz: int
    n_samples: int
    peak_dbfs: float
    noise_dbfs: float
    warnings: tuple[RecordingWarning, ...]
    path: str | None
    source: SampleSource

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.n_samples / self.sample_rate_hz

    def read(self, start: int, stop: int) -> Samples:
        """Return samples ``start`` to ``stop`` (clamped to the recording), float32, mono."""
        start = min(max(start, 0), self.n_samples)
        stop = min(max(stop, start), self.n_samples)
        return self.source.read(start, stop)
