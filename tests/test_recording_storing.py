"""What is spooled is read back, from any place, in memory and in a file."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.recording.storing import Spool, SpoolSource


@pytest.mark.parametrize("n_samples", [1000, 3_000_000])  # the second is over 8 MB
def test_pieces_are_those_that_were_written(n_samples: int) -> None:
    wave = np.arange(n_samples, dtype=np.float32)[:, None] / n_samples
    spool = Spool(1)
    for start in range(0, n_samples, 70_001):
        spool.write(wave[start : start + 70_001])
    assert spool.n_samples == n_samples
    source = SpoolSource(spool, np.ones(1, np.float32), offset=0.25)
    for start, stop in (
        (0, 10),
        (n_samples // 2 - 3, n_samples // 2 + 4),
        (n_samples - 5, n_samples),
    ):
        np.testing.assert_array_equal(
            source.read(start, stop), wave[start:stop, 0] - np.float32(0.25)
        )
    assert source.read(7, 7).size == 0


def test_channels_are_mixed_when_read() -> None:
    spool = Spool(2)
    spool.write(np.array([[1.0, 3.0], [2.0, -2.0]], np.float32))
    mean = SpoolSource(spool, np.array([0.5, 0.5], np.float32))
    np.testing.assert_array_equal(mean.read(0, 2), [2.0, 0.0])
