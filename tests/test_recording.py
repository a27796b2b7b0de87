"""Recordings: every format gives its samples back, in place and in time."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from buzzscan.errors import OutputError, RecordingError, UnreadableFileError
from buzzscan.recording import Recording, open_recording, recording_from_samples, storing
from buzzscan.units import amplitude_to_db

Wave = npt.NDArray[np.float64]
MakeRun = Callable[..., Wave]

STEP = 2.0**-15
LOSSY_ERROR_DB = -25.0
"""Error of a coder re the signal: 25 dB is heard as hardly any."""


def codes(recording: Recording) -> list[str]:
    return [warning.code for warning in recording.warnings]


def whole(recording: Recording) -> npt.NDArray[np.float32]:
    return recording.read(0, recording.n_samples)


@pytest.mark.parametrize(
    ("suffix", "subtype", "error"),
    [
        ("wav", "PCM_16", STEP),
        ("wav", "PCM_24", 2.0**-22),
        ("wav", "FLOAT", 1e-7),
        ("wav", "DOUBLE", 1e-7),
        ("wav", "PCM_U8", 2.0**-6),
        ("flac", "PCM_16", STEP),
        ("flac", "PCM_24", 2.0**-22),
        ("aiff", "PCM_16", STEP),
        ("caf", "PCM_16", STEP),
    ],
)
def test_formats_give_their_samples(
    tmp_path: Path, make_run: MakeRun, suffix: str, subtype: str, error: float
) -> None:
    run = make_run(frets=(0, 5))
    path = tmp_path / f"take.{suffix}"
    soundfile.write(path, run, 44100, subtype=subtype)
    recording = open_recording(path)
    assert (recording.name, recording.sample_rate_hz, recording.n_samples) == (
        f"take.{suffix}",
        44100,
        len(run),
    )
    assert recording.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert recording.path == str(path)
    assert recording.duration_s == pytest.approx(len(run) / 44100)
    np.testing.assert_allclose(whole(recording), run, atol=error, rtol=0)
    assert recording.peak_dbfs == pytest.approx(amplitude_to_db(np.abs(run).max()), abs=0.3)


@pytest.mark.parametrize(
    ("suffix", "subtype"), [("mp3", "MPEG_LAYER_III"), ("ogg", "VORBIS"), ("opus", "OPUS")]
)
def test_lossy_formats_keep_time(
    tmp_path: Path, make_run: MakeRun, suffix: str, subtype: str
) -> None:
    rate_hz = 48000
    run = make_run(frets=(0, 5), rate_hz=rate_hz)
    path = tmp_path / f"take.{suffix}"
    kind = "MP3" if suffix == "mp3" else "OGG"
    with soundfile.SoundFile(path, "w", rate_hz, 1, subtype=subtype, format=kind) as file:
        for start in range(0, len(run), 20000):
            file.write(run[start : start + 20000])
    recording = open_recording(path)
    heard = whole(recording)[: len(run)]
    error = heard - run[: len(heard)]
    assert amplitude_to_db(error.std() / run.std()) < LOSSY_ERROR_DB
    assert "broken-off" not in codes(recording)


def test_an_mp3_of_a_low_rate_is_decoded_without_holes(tmp_path: Path) -> None:
    # frames of such a file borrow bits of those before them (ISO/IEC 11172-3, bit reservoir)
    rate_hz = 44100
    t = np.arange(6 * rate_hz) / rate_hz
    tones = sum(np.sin(2 * np.pi * 110.0 * k * t) / k for k in range(1, 30))
    beat = 0.2 * tones * np.exp(-3.0 * (t % 0.4))
    path = tmp_path / "take.mp3"
    soundfile.write(path, beat, rate_hz, bitrate_mode="VARIABLE", compression_level=0.99)
    plain, _ = soundfile.read(path, dtype="float32")
    assert len(plain) > 3 * (1 << 16), "several blocks"
    np.testing.assert_array_equal(whole(open_recording(path)), plain)


@pytest.mark.parametrize("in_memory_bytes", [1 << 30, 0])
def test_pieces_are_parts_of_the_whole(
    monkeypatch: pytest.MonkeyPatch, make_run: MakeRun, in_memory_bytes: int
) -> None:
    monkeypatch.setattr(storing, "_IN_MEMORY_BYTES", in_memory_bytes)
    run = make_run(frets=tuple(range(6))).astype(np.float32)
    recording = recording_from_samples(run, 44100)
    for start, stop in ((0, 10), (70_000, 150_001), (len(run) - 5, len(run)), (50, 50)):
        np.testing.assert_array_equal(recording.read(start, stop), run[start:stop])
    np.testing.assert_array_equal(recording.read(-10, 3), run[:3])
    np.testing.assert_array_equal(recording.read(len(run) - 3, len(run) + 10), run[-3:])
    assert recording.read(9, 3).shape == (0,)
    piece = recording.read(0, 4)
    piece[:] = 9.0
    np.testing.assert_array_equal(recording.read(0, 4), run[:4])


@pytest.mark.parametrize(
    ("rate_hz", "new_rate_hz"),
    [(44100, 44100), (48000, 48000), (88200, 44100), (96000, 48000), (192000, 48000)],
)
def test_high_rates_come_down_in_time(rate_hz: int, new_rate_hz: int) -> None:
    t = np.arange(2 * rate_hz) / rate_hz
    tone = 0.3 * np.sin(2 * np.pi * 3000.7 * t)
    beyond = 0.3 * np.sin(2 * np.pi * 0.7 * rate_hz / 2 * t) if rate_hz > 50000 else 0.0
    recording = recording_from_samples(tone + beyond, rate_hz)
    assert recording.file_rate_hz == rate_hz
    assert (recording.sample_rate_hz, recording.n_samples) == (new_rate_hz, 2 * new_rate_hz)
    u = np.arange(recording.n_samples) / new_rate_hz
    inner = slice(300, -300)  # the filter meets silence at the ends
    expected = 0.3 * np.sin(2 * np.pi * 3000.7 * u)
    # −90 dB is what the filter is designed for.
    np.testing.assert_allclose(whole(recording)[inner], expected[inner], atol=0.3 * 10**-4.5)


def test_stereo_is_averaged(make_run: MakeRun) -> None:
    run = make_run(frets=(0, 5))
    recording = recording_from_samples(np.column_stack([run, 0.5 * run]), 44100)
    np.testing.assert_allclose(whole(recording), 0.75 * run, atol=1e-6)
    assert "one-channel" not in codes(recording)


@pytest.mark.parametrize("dead", [0, 1])
def test_a_dead_channel_is_left_out(make_run: MakeRun, dead: int) -> None:
    run = make_run(frets=(0, 5))
    both = np.column_stack([run, run])
    both[:, dead] = 1e-4 * np.random.default_rng(1).standard_normal(len(run))
    recording = recording_from_samples(both, 44100)
    np.testing.assert_allclose(whole(recording), run, atol=1e-6)
    (warning,) = recording.warnings
    assert warning.code == "one-channel"
    assert f"channel {dead + 1} is dead" in warning.message
    assert warning.spoils == ()


def test_an_inverted_channel_is_turned(make_run: MakeRun) -> None:
    run = make_run(frets=(0, 5))
    recording = recording_from_samples(np.column_stack([run, -run]), 44100)
    np.testing.assert_allclose(whole(recording), run, atol=1e-6)
    assert codes(recording) == ["inverted-channel"]


def test_of_different_sounds_the_clearer_is_taken(make_run: MakeRun) -> None:
    run = make_run(frets=(0, 5))
    noise = 0.1 * np.random.default_rng(1).standard_normal(len(run))
    recording = recording_from_samples(np.column_stack([noise, run]), 44100)
    np.testing.assert_allclose(whole(recording), run, atol=1e-6)
    assert codes(recording) == ["one-channel"]
    assert "only channel 2 was listened to, the clearer one" in recording.warnings[0].message


def test_of_many_channels_the_loudest_is_taken(make_run: MakeRun) -> None:
    run = make_run(frets=(0, 5))
    recording = recording_from_samples(np.column_stack([0.1 * run, run, 0.2 * run]), 44100)
    np.testing.assert_allclose(whole(recording), run, atol=1e-6)
    assert "3 channels; only channel 2 was listened to" in recording.warnings[0].message


def test_direct_current_is_taken_off(make_run: MakeRun) -> None:
    run = make_run(frets=(0, 5))
    recording = recording_from_samples(run + 0.1, 44100)
    np.testing.assert_allclose(whole(recording), run, atol=1e-3)
    assert codes(recording) == ["offset"]
    assert "+10.0 % of full scale" in recording.warnings[0].message
    assert recording.noise_dbfs == pytest.approx(-75.0, abs=2.0)


def test_missing_numbers_are_bridged(make_run: MakeRun) -> None:
    run = make_run(frets=(0, 5), noise_dbfs=None)
    broken = run.copy()
    broken[30_000:30_003] = np.nan
    broken[40_000] = np.inf
    recording = recording_from_samples(broken, 44100)
    assert "mended" in codes(recording)
    assert "4 samples were no numbers" in recording.warnings[0].message
    heard = whole(recording)
    assert np.isfinite(heard).all()
    line = np.interp([1, 2, 3], [0, 4], [run[29_999], run[30_003]])
    np.testing.assert_allclose(heard[30_000:30_003], line, atol=1e-6)


def test_levels_are_levels() -> None:
    t = np.arange(3 * 44100) / 44100
    tone = 0.25 * np.sin(2 * np.pi * 440 * t) * np.exp(-0.5 * t)
    tone[2 * 44100 :] = 0.0
    tone += 1e-3 * np.random.default_rng(0).standard_normal(len(t))
    recording = recording_from_samples(tone, 44100)
    assert recording.peak_dbfs == pytest.approx(-12.04, abs=0.1)
    # 5th percentile of 10 ms pieces of noise of −60 dBFS: 441 samples spread by 0.3 dB.
    assert recording.noise_dbfs == pytest.approx(-60.0, abs=1.0)


def test_noise_is_told_without_pauses(make_run: MakeRun) -> None:
    run = make_run(note_s=0.25, gap_s=0.0, noise_dbfs=-60.0, open_midi=(64, 55))
    assert recording_from_samples(run, 44100).noise_dbfs == pytest.approx(-60.0, abs=2.0)


def test_same_samples_same_hash_other_rate_other_hash(make_run: MakeRun) -> None:
    run = make_run(frets=(0,))
    first = recording_from_samples(run, 44100)
    assert first.sha256 == recording_from_samples(run, 44100, name="x").sha256
    assert first.sha256 != recording_from_samples(run, 48000).sha256
    assert first.path is None


@pytest.mark.parametrize(
    ("samples", "message"),
    [
        (np.zeros(44100, np.int16), r"type int16, need floating point"),
        (np.zeros((2, 2, 2)), r"shape \(2, 2, 2\)"),
        (np.zeros((44100, 40)), r"40 channels, limit 32"),
        (np.zeros(0), r"holds 0.00 s of sound, need at least 0.3 s"),
        (np.full(44100, 3e4), r"reaches 3e\+04 times full scale, limit 16"),
        (np.full(44100, np.nan), r"44100 samples that are no numbers .* limit 1 in 1000"),
        (np.full(44100, 1e300), r"samples that are no numbers"),
        (
            np.full(44100, 0.2),
            r"is silent: nothing beside direct current of \+20.0 %, need -60.0 dBFS; raise the",
        ),
        (1e-4 * np.sin(np.arange(44100)), r"is silent: peak -80.0 dBFS, need -60.0"),
    ],
)
def test_samples_that_cannot_be_judged(samples: Wave, message: str) -> None:
    with pytest.raises(RecordingError, match=message):
        recording_from_samples(samples, 44100)


def test_a_full_disk_is_named(monkeypatch: pytest.MonkeyPatch, make_run: MakeRun) -> None:
    run = make_run(frets=(0,))
    monkeypatch.setattr(storing, "_IN_MEMORY_BYTES", 1000)
    full = lambda **_: Path("/dev/full").open("wb")  # noqa: E731, SIM115
    monkeypatch.setattr("tempfile.TemporaryFile", full)
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    with pytest.raises(OutputError, match=r"cannot keep the decoded sound in .*No space left"):
        recording_from_samples(run, 44100)


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.wav"
    os.mkfifo(pipe)
    with pytest.raises(UnreadableFileError, match="not a regular file; give a sound file"):
        open_recording(pipe)
