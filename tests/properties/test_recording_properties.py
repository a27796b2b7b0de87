"""What must not change a recording's quality, and what must change with it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from buzzscan.errors import RecordingError
from buzzscan.recording import recording_from_samples

Wave = npt.NDArray[np.float64]
MakeRun = Callable[..., Wave]
RATE_HZ = 22050

quick = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.fixture(scope="module")
def run_wave(make_run: MakeRun) -> Wave:
    return make_run(frets=(0, 3, 7), rate_hz=RATE_HZ, note_s=0.3)


@quick
@given(gain_db=st.floats(-20.0, 9.0))
def test_gain_moves_levels_alone(run_wave: Wave, gain_db: float) -> None:
    base = recording_from_samples(run_wave, RATE_HZ)
    other = recording_from_samples(run_wave * 10 ** (gain_db / 20), RATE_HZ)
    assert other.peak_dbfs == pytest.approx(base.peak_dbfs + gain_db, abs=1e-3)
    assert other.noise_dbfs == pytest.approx(base.noise_dbfs + gain_db, abs=1e-2)
    assert [w.code for w in other.warnings] == [w.code for w in base.warnings]


@quick
@given(st.data())
def test_polarity_is_nothing(run_wave: Wave, data: st.DataObject) -> None:
    ceiling = data.draw(st.floats(0.05, 1.0))
    wave = np.clip(run_wave, -ceiling, 0.8 * ceiling)
    a, b = recording_from_samples(wave, RATE_HZ), recording_from_samples(-wave, RATE_HZ)
    assert a.peak_dbfs == b.peak_dbfs
    assert a.warnings == b.warnings
    np.testing.assert_array_equal(a.read(0, a.n_samples), -b.read(0, b.n_samples))


@quick
@given(
    start=st.integers(-10, 60_000),
    length=st.integers(-5, 60_000),
    n_channels=st.integers(1, 4),
    rate_hz=st.sampled_from([22050, 44100, 96000]),
)
def test_any_piece_is_a_slice_of_the_whole(
    run_wave: Wave, start: int, length: int, n_channels: int, rate_hz: int
) -> None:
    channels = run_wave[:, None] * np.linspace(1.0, 0.5, n_channels)
    recording = recording_from_samples(channels, rate_hz)
    whole = recording.read(0, recording.n_samples)
    assert whole.shape == (recording.n_samples,)
    assert whole.dtype == np.float32
    stop = start + length
    piece = recording.read(start, stop)
    low, high = (min(max(at, 0), len(whole)) for at in (start, stop))
    np.testing.assert_array_equal(piece, whole[low : max(low, high)])


@settings(max_examples=150, deadline=None)
@given(
    samples=hnp.arrays(
        np.float64,
        st.one_of(st.integers(0, 3000), st.tuples(st.integers(0, 3000), st.integers(0, 5))),
        elements=st.floats(allow_nan=True, allow_infinity=True, width=64),
        fill=st.sampled_from([0.0, 0.25, -1.0, 1e-6, np.nan]),
    ),
    rate_hz=st.sampled_from([1, 4000, 8000, 44100, 192000, 10**9]),
)
def test_any_numbers_are_judged_or_refused(samples: Wave, rate_hz: int) -> None:
    try:
        recording = recording_from_samples(samples, rate_hz)
    except RecordingError:
        return
    assert np.isfinite([recording.peak_dbfs, recording.noise_dbfs]).all()
    assert recording.peak_dbfs >= -60.0
    whole = recording.read(0, recording.n_samples)
    assert np.isfinite(whole).all()
