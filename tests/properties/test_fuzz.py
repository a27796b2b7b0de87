"""Mutated files: every one is read or refused with an error that is meant.

Each reader gets some seconds of mutations; set BUZZSCAN_FUZZ_S for longer runs by hand. A case
is named by its number and comes again with the same number.
"""

from __future__ import annotations

import copy
import json
import os
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from buzzscan.errors import BuzzscanError
from buzzscan.guitar import load_guitar
from buzzscan.recording import open_recording
from buzzscan.scanfile import read_scan, scan_to_mapping
from buzzscan.scanning import Scan

MakeRun = Callable[..., npt.NDArray[np.float64]]
BUDGET_S = float(os.environ.get("BUZZSCAN_FUZZ_S", "0.8"))
FIRST = int(os.environ.get("BUZZSCAN_FUZZ_FIRST", "0"))
SLOWEST_S = 20.0
"""No file of this size may keep a reader busy for longer, other work on the machine included."""

WORDS = [0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF]
GUITAR = b"""name = "Walnut offset, job 0417"
tuning = ["E2", "A2-3c", "D3", "G3", "B3", "E4"]
frets = 22
scale_mm = 647.7
gauges_mm = [1.17, 0.91, 0.66, 0.43, 0.33, 0.254]
wound = [true, true, true, false, false, false]
action_12_mm = 1.6
"""
PIECES = [b'"', b"[", b"]", b"=", b"{", b"}", b"1e999", b"nan", b"-", b"null", b"true", b"\xff"]


def mutated(data: bytes, rng: np.random.Generator, *, text: bool) -> bytes:
    """Return data with a few changes, most of them near the start, where headers are."""
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 5))):
        n = len(out)
        if n == 0:
            break
        reach = n if rng.random() < 0.4 else min(n, 120)
        at = int(rng.integers(0, reach))
        kind = int(rng.integers(0, 7))
        if kind == 0:
            out[at] ^= 1 << int(rng.integers(0, 8))
        elif kind == 1:
            out[at] = int(rng.integers(0, 256))
        elif kind == 2:
            word = WORDS[int(rng.integers(0, len(WORDS)))]
            size = int(rng.choice([2, 4]))
            raw = (word & (256**size - 1)).to_bytes(size, rng.choice(["little", "big"]))
            out[at : at + size] = raw
        elif kind == 3:
            del out[int(rng.integers(0, n)) :]
        elif kind == 4:
            del out[at : at + int(rng.integers(1, 40))]
        elif kind == 5:
            stop = at + int(rng.integers(1, 60))
            out[at:at] = out[at:stop]
        elif text:
            out[at:at] = PIECES[int(rng.integers(0, len(PIECES)))]
        else:
            out[at : at + 8] = rng.bytes(8)
    return bytes(out)


def fuzz(name: str, read: Callable[[Path], None], data: bytes, path: Path, *, text: bool) -> None:
    """Feed mutations of a file to a reader until the time is up."""
    end = time.monotonic() + BUDGET_S
    n_read = n_refused = 0
    number = FIRST
    while time.monotonic() < end:
        rng = np.random.default_rng([number, len(data)])
        path.write_bytes(mutated(data, rng, text=text))
        start = time.monotonic()
        try:
            read(path)
            n_read += 1
        except BuzzscanError as error:
            n_refused += 1
            line = str(error)
            assert line, f"{name} case {number}: no message"
        except BaseException as error:
            kept = path.read_bytes()
            raise AssertionError(f"{name} case {number}: {error!r}, {kept[:80]!r}") from error
        assert time.monotonic() - start < SLOWEST_S, f"{name} case {number} took too long"
        number += 1
    print(f"{name}: {number - FIRST} mutated files, {n_read} read, {n_refused} refused")
    assert n_refused > 0
    assert number > FIRST


def listen(path: Path) -> None:
    recording = open_recording(path)
    whole = recording.read(0, recording.n_samples)
    assert len(whole) == recording.n_samples
    assert np.isfinite(whole).all()
    assert np.isfinite([recording.peak_dbfs, recording.noise_dbfs]).all()


@pytest.mark.parametrize(
    ("suffix", "subtype"),
    [
        ("wav", "PCM_16"),
        ("wav", "FLOAT"),
        ("aiff", "PCM_16"),
        ("flac", "PCM_16"),
        ("ogg", "VORBIS"),
        ("mp3", "MPEG_LAYER_III"),
    ],
)
def test_sound_files(tmp_path: Path, make_run: MakeRun, suffix: str, subtype: str) -> None:
    path = tmp_path / f"take.{suffix}"
    soundfile.write(path, make_run(frets=(0,), note_s=0.2, rate_hz=22050), 22050, subtype=subtype)
    fuzz(f"{suffix} {subtype}", listen, path.read_bytes(), path, text=False)


def test_guitar_files(tmp_path: Path) -> None:
    fuzz("guitar", lambda p: load_guitar(p) and None, GUITAR, tmp_path / "guitar.toml", text=True)


def small_scan(scan: Scan) -> dict[str, object]:
    """Return a scan.json with few rows, so that mutations hit all kinds of them."""
    mapping = scan_to_mapping(scan)
    mapping["notes"] = mapping["notes"][:3]
    mapping["positions"] = [{**p, "notes": [1, 2]} for p in mapping["positions"][:3]]
    mapping["findings"] = [{**f, "notes": [3]} for f in mapping["findings"][:1]]
    return mapping


def test_scan_files(tmp_path: Path, neck_scan: Scan) -> None:
    data = json.dumps(small_scan(neck_scan)).encode()
    path = tmp_path / "scan.json"
    path.write_bytes(data)
    read_scan(path)
    fuzz("scan.json", lambda p: read_scan(p) and None, data, path, text=True)


def test_scan_files_with_other_values(tmp_path: Path, neck_scan: Scan) -> None:
    """Whole JSON in which some value is another: the reader's own checks are all there is."""
    values = [None, True, -1, 0, 1e308, 2**70, "", "x" * 5000, [], {}, [None], "\u202e", -0.5]
    end = time.monotonic() + BUDGET_S
    good = small_scan(neck_scan)
    path = tmp_path / "scan.json"
    number = FIRST
    while time.monotonic() < end:
        rng = np.random.default_rng(number)
        broken = json.loads(json.dumps(good))
        for _ in range(int(rng.integers(1, 4))):
            node = broken
            while isinstance(node, (dict, list)) and node:
                key = (
                    list(node)[int(rng.integers(0, len(node)))]
                    if isinstance(node, dict)
                    else int(rng.integers(0, len(node)))
                )
                if not isinstance(node[key], (dict, list)) or rng.random() < 0.1:
                    node[key] = copy.deepcopy(values[int(rng.integers(0, len(values)))])
                    break
                node = node[key]
        path.write_text(json.dumps(broken), "utf-8")
        try:
            scan = read_scan(path)
            assert scan_to_mapping(scan, folder=tmp_path)["format"] == "buzzscan-scan"
        except BuzzscanError:
            pass
        except BaseException as error:
            raise AssertionError(f"values case {number}: {error!r}") from error
        number += 1
    print(f"scan.json values: {number - FIRST} files")
    assert number > FIRST
