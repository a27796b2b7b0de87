"""Results do not depend on gain, polarity, or where in the file the run lies."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buzzscan.guitar import Guitar
from buzzscan.recording import recording_from_samples
from buzzscan.scanfile import scan_from_mapping, scan_to_mapping
from buzzscan.scanning import Scan, scan

Wave = npt.NDArray[np.float64]
MakeRun = Callable[..., Wave]
RATE_HZ = 44100
GUITAR = Guitar(tuning=("E4",), frets=12)

few = settings(
    max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.fixture(scope="module")
def run_wave(make_run: MakeRun) -> Wave:
    return make_run(frets=tuple(range(7)), note_s=0.5)


def scanned(samples: Wave) -> Scan:
    return scan(recording_from_samples(samples, RATE_HZ), GUITAR)


@pytest.fixture(scope="module")
def base(run_wave: Wave) -> Scan:
    return scanned(run_wave)


def same_notes(a: Scan, b: Scan, *, shift_s: float = 0.0, gain_db: float = 0.0) -> None:
    """Check that two scans say the same.

    Onsets are told in steps of 1 ms; a level of 10 ms that begins 1 ms later differs by up to a
    decibel, a rate by a few percent, and the pitch by nothing that can be heard.
    """
    assert [(n.note.string, n.note.fret) for n in a.notes] == [
        (n.note.string, n.note.fret) for n in b.notes
    ]
    for old, new in zip(a.notes, b.notes, strict=True):
        assert new.note.onset_s == pytest.approx(old.note.onset_s + shift_s, abs=0.0015)
        assert new.attack_dbfs == pytest.approx(old.attack_dbfs + gain_db, abs=1.0)
        assert old.cents is not None
        assert new.cents == pytest.approx(old.cents, abs=0.05)
        assert old.decay_db_per_s is not None
        assert new.decay_db_per_s == pytest.approx(old.decay_db_per_s, rel=0.05)


@few
@given(gain_db=st.floats(-12.0, 8.0))
def test_gain_moves_only_levels(base: Scan, run_wave: Wave, gain_db: float) -> None:
    same_notes(base, scanned(run_wave * 10 ** (gain_db / 20)), gain_db=gain_db)


def test_polarity_is_not_heard(base: Scan, run_wave: Wave) -> None:
    same_notes(base, scanned(-run_wave))


@few
@given(shift=st.integers(1, 3 * RATE_HZ))
def test_a_later_start_moves_only_times(base: Scan, run_wave: Wave, shift: int) -> None:
    rng = np.random.default_rng(shift)
    lead = 10 ** (-75 / 20) * rng.standard_normal(shift)
    same_notes(base, scanned(np.concatenate([lead, run_wave])), shift_s=shift / RATE_HZ)


def test_what_is_written_reads_back(base: Scan) -> None:
    mapping = scan_to_mapping(base)
    assert scan_to_mapping(scan_from_mapping(mapping)) == mapping
