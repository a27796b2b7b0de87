"""Bad input: what each case prints. Errors leave nothing behind; warnings name what they spoil."""

from __future__ import annotations

import os
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from click.testing import CliRunner, Result

from buzzscan.cli import main
from buzzscan.scanfile import read_scan

Wave = npt.NDArray[np.float64]
MakeRun = Callable[..., Wave]
RATE_HZ = 44100
GUITAR = 'tuning = ["B3", "E4"]\nfrets = 12\n'


@pytest.fixture(scope="module")
def run_wave(make_run: MakeRun) -> Wave:
    """Return a run up and down the thinnest string, frets 0 to 8."""
    return make_run(frets=tuple(range(9)), note_s=0.35)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    (tmp_path / "guitar.toml").write_text(GUITAR, "utf-8")
    return tmp_path


@pytest.fixture(autouse=True)
def no_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the pages, which have tests of their own and take the most time."""
    monkeypatch.setattr("buzzscan.report.write_report", lambda *_, **__: ())


def scan(bench: Path, *recordings: Path, guitar: str = "guitar.toml") -> Result:
    args = [*map(str, recordings), "--guitar", str(bench / guitar), "--out", str(bench / "out")]
    return CliRunner().invoke(main, ["scan", *args])


def refused(bench: Path, *recordings: Path, guitar: str = "guitar.toml") -> str:
    """Scan what cannot be scanned; return the one line that is printed."""
    result = scan(bench, *recordings, guitar=guitar)
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    assert result.stderr.startswith("buzzscan: ")
    assert result.stderr.count("\n") == 1
    assert "internal error" not in result.stderr
    assert not (bench / "out").exists(), "something was half-written"
    return result.stderr


def warned(bench: Path, recording: Path) -> list[str]:
    """Scan what can be scanned in part; return the warnings."""
    result = scan(bench, recording)
    assert result.exit_code == 0, result.stderr
    return [w.message for w in read_scan(bench / "out").recordings[0].warnings]


def save(bench: Path, samples: Wave, name: str = "take.wav", subtype: str = "PCM_16") -> Path:
    soundfile.write(bench / name, samples, RATE_HZ, subtype=subtype)
    return bench / name


def written(bench: Path, data: bytes, name: str = "take.wav") -> Path:
    (bench / name).write_bytes(data)
    return bench / name


def test_no_file(bench: Path) -> None:
    assert "absent.wav: No such file or directory; check the path" in refused(
        bench, bench / "absent.wav"
    )


def test_a_folder_without_sound(bench: Path) -> None:
    assert "holds no sound file (WAV, FLAC, AIFF, Ogg or MP3)" in refused(bench, bench)


def test_an_empty_file(bench: Path) -> None:
    assert "take.wav is empty (0 bytes)" in refused(bench, written(bench, b""))


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"Dear customer, the neck is done.\n" * 50, "holds text, not sound"),
        (bytes(range(256)) * 20, "holds no sound that can be read"),
        (b"RIFF", "holds text, not sound"),
        (b"RIFF\x24\x00\x00\x00WAVEfmt ", "holds no sound that can be read"),
        (b"fLaC" + b"\x00" * 60, "holds no sound that can be read"),
        (b"OggS" + b"\x00" * 60, "holds no sound that can be read"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" * 9, "holds no sound that can be read"),
        (b"\x00\x00\x00\x20ftypM4A \x00\x00\x00\x00", "is MPEG-4 sound (m4a, aac)"),
        (b"\xff\xf1\x50\x80" + b"\x00" * 60, "is AAC sound"),
        (b"\x1a\x45\xdf\xa3" + b"\x00" * 60, "is Matroska or WebM"),
        (b"#!AMR\n" + b"\x00" * 60, "is AMR sound"),
    ],
)
def test_what_is_no_sound_file(bench: Path, data: bytes, message: str) -> None:
    assert message in refused(bench, written(bench, data))


def test_how_to_convert_is_said(bench: Path) -> None:
    path = written(bench, b"\x00\x00\x00\x20ftypM4A " + b"\x00" * 60, "run.m4a")
    assert 'convert it to WAV first, for example: ffmpeg -i "run.m4a" "run.wav"' in refused(
        bench, path
    )


@pytest.mark.parametrize("kind", ["wav", "aiff", "flac", "mp3"])
def test_truncated_files_are_judged_as_far_as_they_go(
    bench: Path, run_wave: Wave, kind: str
) -> None:
    path = save(bench, run_wave, f"take.{kind}", "MPEG_LAYER_III" if kind == "mp3" else "PCM_16")
    data = path.read_bytes()
    path.write_bytes(data[: int(0.7 * len(data))])
    (message, *_) = warned(bench, path)
    assert message.startswith("the file is not whole: ")
    assert "notes behind it are missing. Copy or export it again" in message


def test_headers_that_lie(bench: Path, run_wave: Wave) -> None:
    path = save(bench, run_wave)
    good = path.read_bytes()
    for length in (0, 0x7FFFFFF0, 0xFFFFFFFF):  # of the data; recorders leave such behind
        data = bytearray(good)
        data[40:44] = struct.pack("<I", length)
        path.write_bytes(data)
        result = scan(bench, path)
        assert result.exit_code in (0, 1)
        assert "internal error" not in result.stderr
        if result.exit_code == 0:
            assert read_scan(bench / "out").recordings[0].n_samples == len(run_wave)
        else:
            assert "holds 0.00 s of sound" in result.stderr
    data = bytearray(good)
    data[24:28] = struct.pack("<I", 1_000_000)  # the sample rate
    (bench / "other.wav").write_bytes(data)
    result = scan(bench, bench / "other.wav")
    assert result.exit_code == 1
    assert "sample rate of 1000000 Hz, need 4000 to 768000" in result.stderr


def test_numbers_that_are_none(bench: Path, run_wave: Wave) -> None:
    few = run_wave.copy()
    few[50_000:50_003] = np.nan
    few[60_000] = -np.inf
    messages = warned(bench, save(bench, few, subtype="FLOAT"))
    assert messages[0].startswith("4 samples were no numbers (NaN or infinite) and were bridged")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda x: np.where(np.arange(len(x)) % 7, x, np.nan), "limit 1 in 1000"),
        (lambda x: x * 32768, "times full scale, limit 16; export it again as 24-bit WAV"),
        (lambda x: 0 * x, "holds digital silence and nothing else; check the input and its gain"),
        (
            lambda x: 0 * x + 0.3,
            "is silent: nothing beside direct current of +30.0 %, need -60.0 dBFS",
        ),
        (lambda x: x * 1e-3, "is silent: peak -68"),
        (lambda x: x[:8000], "holds 0.18 s of sound, need at least 0.3 s; record the whole run"),
    ],
)
def test_samples_that_cannot_be_judged(
    bench: Path, run_wave: Wave, make: Callable[[Wave], Wave], message: str
) -> None:
    assert message in refused(bench, save(bench, make(run_wave), subtype="FLOAT"))


def noise(seconds: float, dbfs: float = -20.0) -> Wave:
    rng = np.random.default_rng(5)
    return 10 ** (dbfs / 20) * rng.standard_normal(round(seconds * RATE_HZ))


def speech(seconds: float) -> Wave:
    """Return syllables: gliding harmonic tones with formants, and hisses between them."""
    rng = np.random.default_rng(6)
    parts = []
    while sum(map(len, parts)) < seconds * RATE_HZ:
        n = int(RATE_HZ * rng.uniform(0.08, 0.3))
        glide = rng.uniform(90, 220) * np.exp(np.linspace(0, rng.uniform(-0.3, 0.3), n))
        phase = np.cumsum(2 * np.pi * glide / RATE_HZ)
        formants = rng.uniform([300, 900, 2400], [800, 2200, 2900])
        voice = np.zeros(n)
        for k in range(1, 30):
            gain = (1.0 / (1.0 + ((k * glide.mean() - formants) / 90.0) ** 2)).sum() + 0.02
            voice += gain / k**0.5 * np.sin(k * phase)
        parts += [0.2 * voice / np.abs(voice).max() * np.hanning(n)]
        parts += [0.03 * rng.standard_normal(n // 3) * np.hanning(n // 3)]
        parts += [np.zeros(int(RATE_HZ * rng.uniform(0, 0.3)))]
    return (
        np.concatenate(parts) + noise(sum(map(len, parts)) / RATE_HZ, -75)[: sum(map(len, parts))]
    )


def strum(seconds: float) -> Wave:
    """Return a chord every second."""
    rng = np.random.default_rng(7)
    t = np.arange(RATE_HZ) / RATE_HZ
    parts = []
    for _ in range(round(seconds)):
        root = rng.integers(40, 55)
        chord = np.zeros(RATE_HZ)
        for midi in root + np.array([0, 7, 12, 16, 19, 24]):
            for k in range(1, 9):
                pitch_hz = k * 440 * 2 ** ((midi - 69) / 12)
                chord += np.exp(-2 * t) * np.sin(2 * np.pi * pitch_hz * t + rng.uniform(0, 6)) / k
        parts.append(0.2 * chord / np.abs(chord).max())
    return np.concatenate(parts) + noise(round(seconds), -75)


@pytest.mark.parametrize(
    "make",
    [
        lambda: noise(20),
        lambda: speech(25),
        lambda: strum(20),
        lambda: 0.1 * np.sin(2 * np.pi * 440 * np.arange(10 * RATE_HZ) / RATE_HZ),
    ],
    ids=["noise", "speech", "strum", "a steady tone"],
)
def test_what_is_no_run_gets_no_map(bench: Path, make: Callable[[], Wave]) -> None:
    line = refused(bench, save(bench, make()))
    assert "no run over the neck found" in line
    assert "record a chromatic run, one note at a time" in line


@pytest.mark.parametrize(
    ("subtype", "step"), [("PCM_U8", 2.0**-7), ("PCM_24", 0.0), ("FLOAT", 0.0), ("DOUBLE", 0.0)]
)
def test_depths_are_read(bench: Path, run_wave: Wave, subtype: str, step: float) -> None:
    assert warned(bench, save(bench, run_wave, subtype=subtype)) == []
    assert len(read_scan(bench / "out").notes) == 18
    assert step < 0.01


@pytest.mark.parametrize(("rate_hz", "dull"), [(8000, True), (16000, False), (192000, False)])
def test_rates_are_read(bench: Path, make_run: MakeRun, rate_hz: int, *, dull: bool) -> None:
    path = bench / "take.wav"
    soundfile.write(path, make_run(frets=tuple(range(9)), note_s=0.35, rate_hz=rate_hz), rate_hz)
    messages = warned(bench, path)
    assert len(read_scan(bench / "out").notes) == 18
    assert [m for m in messages if "the band ends" in m] == (messages if dull else [])
    assert bool(messages) == dull


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda x: np.column_stack([x, 0 * x]), "channel 2 is dead"),
        (lambda x: np.column_stack([x, -x]), "the channels are inverted to each other"),
        (lambda x: np.column_stack([0.1 * x, x, 0 * x, 0 * x]), "4 channels; only channel 2"),
        (lambda x: x + 0.1, "direct current of +10.0 % of full scale was taken off"),
        (lambda x: np.clip(6 * x, -0.99, 0.99), "peaks are cut off at -0.1 dBFS"),
    ],
)
def test_faults_of_recordings_are_named(
    bench: Path, run_wave: Wave, make: Callable[[Wave], Wave], message: str
) -> None:
    messages = warned(bench, save(bench, make(run_wave)))
    assert any(m.startswith(message) for m in messages), messages
    assert len(read_scan(bench / "out").notes) == 18


def test_what_clipping_spoils_is_withheld(bench: Path, run_wave: Wave) -> None:
    warned(bench, save(bench, np.clip(6 * run_wave, -0.99, 0.99)))
    notes = read_scan(bench / "out").notes
    for note in notes:
        assert note.buzz_db is None
        assert note.contact is None
        assert "peaks are cut off" in dict(note.withheld)["buzz_db"]
    assert sum(note.pitch_hz is not None for note in notes) > 0.8 * len(notes)


def test_the_same_recording_twice(bench: Path, run_wave: Wave) -> None:
    first = save(bench, run_wave)
    second = written(bench, first.read_bytes(), "copy.wav")
    result = scan(bench, first, second)
    assert result.exit_code == 0
    assert "is the same recording as" in " ".join(result.stdout.split())
    assert len(read_scan(bench / "out").recordings) == 1


def test_places_that_may_not_be_read(bench: Path, run_wave: Wave) -> None:
    path = save(bench, run_wave)
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything")
    assert "Permission denied; check the path" in refused(bench, path)


def test_places_that_may_not_be_written(bench: Path, run_wave: Wave) -> None:
    path = save(bench, run_wave)
    (bench / "out").write_text("a letter", "utf-8")
    result = scan(bench, path)
    assert result.exit_code == 1
    assert "out: it is a file; give a folder with --out" in result.stderr
    assert (bench / "out").read_text("utf-8") == "a letter"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "tuning is missing; add it"),
        ("tuning = 5", "tuning is 5, need a list of notes in quotes"),
        ('tuning = ["E2"]\nfretz = 22', "unknown key 'fretz'; did you mean frets?"),
        ('tuning = ["E2"]\nscale_mm = 1e9', "need a number from 200 to 1200"),
        ("x" * 10_000_000, "holds 9766 KiB, a guitar file at most 64 KiB"),
    ],
)
def test_guitar_files(bench: Path, run_wave: Wave, text: str, message: str) -> None:
    path = save(bench, run_wave)
    (bench / "other.toml").write_text(text, "utf-8")
    line = refused(bench, path, guitar="other.toml")
    assert message in line
    assert "other.toml" in line


def test_the_guitar_is_asked_for_before_the_sound(bench: Path) -> None:
    assert "cannot read guitar file" in refused(bench, bench / "absent.wav", guitar="absent.toml")
