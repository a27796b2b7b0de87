"""Holds decoded samples so that any piece can be read at once.

Conventions
-----------
Channels are stored as they come; `SpoolSource` mixes them when a piece is read.

Limits
------
Short takes stay in memory; longer ones go to a file without a name in the temporary folder
(10.6 MB a minute and channel at 44.1 kHz), which the system removes when it is closed.
"""

from __future__ import annotations

import tempfile
import weakref

import numpy as np

from buzzscan.errors import OutputError
from buzzscan.recording.take import Samples

__all__ = ["Spool", "SpoolSource"]

_IN_MEMORY_BYTES = 8 * 1024**2
"""Three quarters of a minute; a scan may have one file for each string."""


class Spool:
    """Writes blocks of samples one after the other.

    Parameters
    ----------
    n_channels
        Channels of every block.
    """

    def __init__(self, n_channels: int) -> None:
        self.n_channels = n_channels
        self.n_samples = 0
        self.file = tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY_BYTES)  # noqa: SIM115
        # Closed with its last user: an open file that is collected would be reported.
        weakref.finalize(self, self.file.close)

    def write(self, block: Samples) -> None:
        """Append a block, shape (samples, channels).

        Raises
        ------
        OutputError
            If the temporary folder is full or cannot be written.
        """
        try:
            self.file.write(np.ascontiguousarray(block, np.float32).data)
        except OSError as error:
            raise OutputError(
                f"cannot keep the decoded sound in {tempfile.gettempdir()}: {error.strerror}; "
                "make room there, or point TMPDIR to a folder with room"
            ) from error
        self.n_samples += len(block)


class SpoolSource:
    """Reads pieces of a spool as one channel.

    Parameters
    ----------
    spool
        With all its samples written.
    weights
        Share of each channel in what is read.
    offset
        Constant that is taken off (the direct current of the mix).
    """

    def __init__(self, spool: Spool, weights: Samples, offset: float = 0.0) -> None:
        self._spool = spool
        self._weights = weights
        self._offset = np.float32(offset)

    def read(self, start: int, stop: int) -> Samples:
        """Return samples ``start`` (included) to ``stop`` (excluded), float32, mono."""
        n_channels = self._spool.n_channels
        block = np.empty((stop - start, n_channels), np.float32)
        if block.size:
            self._spool.file.seek(start * n_channels * block.itemsize)
            self._spool.file.readinto(block.reshape(-1).view(np.uint8).data)
        mixed = block[:, 0] if n_channels == 1 else block @ self._weights
        if self._offset:
            mixed -= self._offset
        return mixed
