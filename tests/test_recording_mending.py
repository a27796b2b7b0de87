"""Samples that are no numbers are bridged, and too many are refused."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.errors import RecordingError
from buzzscan.recording.mending import Mender


def test_gap_is_bridged_by_a_line() -> None:
    block = np.linspace(0.0, 1.0, 101, dtype=np.float32)[:, None]
    broken = block.copy()
    broken[40:43] = [[np.nan], [np.inf], [-np.inf]]
    mender = Mender()
    np.testing.assert_allclose(mender.mend(broken), block, atol=1e-6)
    assert mender.n_mended == 3
    assert not np.isfinite(broken[40:43]).any()  # what came in is left as it was


def test_whole_blocks_pass_untouched() -> None:
    block = np.zeros((10, 2), np.float32)
    assert Mender().mend(block) is block


def test_a_block_of_nothing_but_gaps_is_silence() -> None:
    mender = Mender()
    assert not mender.mend(np.full((5, 1), np.nan, np.float32)).any()
    with pytest.raises(RecordingError, match=r"take\.wav has 5 samples that are no numbers"):
        mender.check("take.wav", 100)


def test_whole_numbers_saved_as_floats_are_refused() -> None:
    mender = Mender()
    mender.mend(np.array([[32767.0]], np.float32))
    with pytest.raises(RecordingError, match=r"reaches 3\.28e\+04 times full scale, limit 16"):
        mender.check("take.wav", 100_000)
