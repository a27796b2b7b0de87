"""Recordings become one scan: paths, folders, names, repeats and progress."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from threadpoolctl import threadpool_info, threadpool_limits

import buzzscan
from buzzscan.errors import GuitarError, RecordingError, UnreadableFileError
from buzzscan.guitar import Guitar
from buzzscan.neck.verdict import Bars
from buzzscan.recording import recording_from_samples
from buzzscan.scanfile import scan_to_mapping
from buzzscan.scanning import Scan, recording_paths, scan

MakeRun = Callable[..., npt.NDArray[np.float64]]
FRETS = tuple(range(8))
GUITAR = Guitar(frets=12, tuning=("B3", "E4"), scale_mm=647.7)


@pytest.fixture(scope="module")
def takes(make_run: MakeRun, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("takes")
    for name, midi in (("e.wav", 64), ("b.flac", 59)):
        soundfile.write(folder / name, make_run(open_midi=(midi,), frets=FRETS, seed=midi), 44100)
    (folder / "notes.txt").write_text("B first", "utf-8")
    (folder / ".hidden.wav").write_bytes(b"")
    return folder


@pytest.fixture(scope="module")
def judged(takes: Path) -> Scan:
    return scan(takes, GUITAR)


def test_a_folder_is_its_sound_files(takes: Path, judged: Scan) -> None:
    assert [p.name for p in recording_paths(takes)] == ["b.flac", "e.wav"]
    assert [r.name for r in judged.recordings] == ["b.flac", "e.wav"]
    assert judged.guitar == GUITAR
    assert not judged.tuning_found


def test_notes_are_put_where_they_were_played(judged: Scan) -> None:
    for recording, string in ((0, 2), (1, 1)):
        notes = [n.note for n in judged.notes if n.note.recording == recording]
        played = [(n.string, n.fret) for n in notes]
        assert played == [(string, fret) for fret in (*FRETS, *FRETS[::-1])]
        onsets = 0.4 + 0.6 * np.arange(2 * len(FRETS))
        # Onsets are good to a few milliseconds; the pluck here takes 2 ms to rise.
        np.testing.assert_allclose([n.onset_s for n in notes], onsets, atol=0.012)
    ids = [n.note.id for n in judged.notes]
    assert ids == list(range(1, len(ids) + 1))


def test_pitch_and_decay_are_those_of_the_strings(judged: Scan) -> None:
    cents = [n.cents for n in judged.notes if n.cents is not None]
    assert len(cents) > 0.9 * len(judged.notes)
    # First partial of f_n = n·f·sqrt(1 + B·n²), B = 8e-5: 0.07 cents over nominal.
    assert np.median(np.abs(np.array(cents) - 0.07)) < 0.5
    rates = [n.decay_db_per_s for n in judged.notes if n.decay_db_per_s is not None]
    assert np.median(rates) == pytest.approx(12.0, rel=0.1)


def test_a_guitar_that_is_dug_into_is_as_sharp_as_its_notes_settle(make_run: MakeRun) -> None:
    settled, gliding = (
        scan(recording_from_samples(samples, 44100), GUITAR)
        for samples in (
            make_run(open_midi=(59, 64), frets=FRETS, glide_cents=cents) for cents in (0.0, 20.0)
        )
    )
    assert settled.offset_cents == pytest.approx(0.07, abs=0.5)
    # as they begin, they lie over the 12 cents from which the whole instrument's pitch is remarked
    assert gliding.remarks == settled.remarks
    assert gliding.offset_cents == pytest.approx(settled.offset_cents, abs=4.0)
    told = [p.pitch for p in gliding.positions if p.pitch is not None]
    assert len(told) >= 12
    assert set(told) == {"in tune"}


def test_paths_and_opened_recordings_say_the_same(takes: Path, judged: Scan) -> None:
    opened = [buzzscan.open_recording(takes / name) for name in ("b.flac", "e.wav")]
    again = scan(opened, GUITAR)
    assert scan_to_mapping(again) == scan_to_mapping(judged)


def test_the_same_take_twice_counts_once(takes: Path, judged: Scan, tmp_path: Path) -> None:
    copy = tmp_path / "copy.flac"
    copy.write_bytes((takes / "b.flac").read_bytes())
    twice = scan([takes, copy], GUITAR)
    assert len(twice.notes) == len(judged.notes)
    assert f"{copy} is the same recording as {takes / 'b.flac'}" in twice.remarks[0]


def test_names_are_unique(make_run: MakeRun) -> None:
    runs = [
        recording_from_samples(make_run(frets=FRETS, seed=seed), 44100, name="take.wav")
        for seed in (1, 2, 3)
    ]
    names = [r.name for r in scan(runs, GUITAR).recordings]
    assert names == ["take.wav", "take (2).wav", "take (3).wav"]


def test_the_guitar_may_be_a_file(takes: Path, tmp_path: Path) -> None:
    path = tmp_path / "guitar.toml"
    path.write_text('tuning = ["B3", "E4"]\nfrets = 12\nscale_mm = 647.7', "utf-8")
    assert scan(takes / "e.wav", path).guitar == GUITAR
    path.write_text('tuning = ["B3"', "utf-8")
    with pytest.raises(GuitarError, match="is not TOML"):
        scan(takes / "e.wav", path)


def test_bars_are_kept(takes: Path) -> None:
    bars = Bars(buzz_db=-20.0, heard="amp")
    assert scan(takes / "e.wav", GUITAR, bars=bars).bars == bars


def test_progress_rises_to_the_end(takes: Path) -> None:
    told: list[float] = []
    scan(takes, GUITAR, progress=told.append)
    assert told == sorted(told)
    assert told[0] > 0.0
    assert told[-1] == 1.0
    assert len(told) > 5


def test_recordings_that_are_too_many_or_none(tmp_path: Path, make_run: MakeRun) -> None:
    with pytest.raises(RecordingError, match="0 recordings, need 1 to 64 of one instrument"):
        scan([])
    one = recording_from_samples(make_run(frets=(0,)), 44100)
    with pytest.raises(RecordingError, match="65 recordings, need 1 to 64"):
        scan([one] * 65)
    with pytest.raises(UnreadableFileError, match="holds no sound file"):
        scan(tmp_path)
    with pytest.raises(UnreadableFileError, match="No such file"):
        scan(tmp_path / "absent")


def test_a_scan_reckons_on_one_core_and_gives_the_others_back(takes: Path) -> None:
    """Many scans at once share the cores out, and sums come in one order on every machine."""

    def threads() -> set[int]:
        return {p["num_threads"] for p in threadpool_info() if p["user_api"] == "blas"}

    seen: set[int] = set()
    with threadpool_limits(limits=2, user_api="blas"):
        before = threads()
        scan(takes / "e.wav", GUITAR, progress=lambda _: seen.update(threads()))
        assert threads() == before
    assert seen == {1}
