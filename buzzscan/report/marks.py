"""Marks for audio editors: label tracks, and cue points in a WAV copy.

Conventions
-----------
A label is "s6 f9 choked": string, fret, and the verdict where it is not plainly clean. Label
tracks are plain text, one note a line: start and end in seconds and the label, with tabs.

Limits
------
The WAV copy is 16-bit mono at the rate the recording was judged at, and below 4 GiB.
"""

from __future__ import annotations

import struct
from typing import BinaryIO

import numpy as np

from buzzscan.errors import OutputError
from buzzscan.recording import Recording
from buzzscan.scanning import Scan

__all__ = ["labels_of", "labels_text", "write_cued"]

_BLOCK_S = 10
_LARGEST_BYTES = 2**32 - 2**20
"""RIFF counts bytes in 32 bits; some are left for the marks."""


def labels_of(scan: Scan, recording: int) -> list[tuple[float, float, str]]:
    """Return (start in s, end in s, label) of each note of a recording."""
    words = {(p.string, p.fret): (p.buzz, p.sustain) for p in scan.positions}
    labels = []
    for measured in scan.notes:
        note = measured.note
        if note.recording != recording:
            continue
        verdicts = words.get((note.string, note.fret), ())
        said = [str(word) for word in verdicts if word not in {None, "rings"}]
        label = " ".join((f"s{note.string}", f"f{note.fret}", *said))
        labels.append((note.onset_s, note.end_s, label))
    return labels


def labels_text(scan: Scan, recording: int) -> str:
    """Return the label track of a recording."""
    return "".join(
        f"{start_s:.6f}\t{end_s:.6f}\t{label}\n"
        for start_s, end_s, label in labels_of(scan, recording)
    )


def write_cued(
    file: BinaryIO, recording: Recording, labels: list[tuple[float, float, str]]
) -> None:
    """Write a WAV copy of a recording with a named cue point at each onset.

    Parameters
    ----------
    file
        Open for writing, at its start, seekable.
    recording
        What to copy.
    labels
        As `labels_of` returns them.

    Raises
    ------
    OutputError
        If the copy would be too long for WAV.

    Notes
    -----
    Chunks "cue " and "LIST"/"adtl"/"labl" are those of IBM & Microsoft, "Multimedia Programming
    Interface and Data Specifications 1.0", August 1991.
    """
    n_bytes = 2 * recording.n_samples
    if n_bytes > _LARGEST_BYTES:
        raise OutputError(
            f"{recording.name} is too long for a WAV copy: {n_bytes} bytes of samples, limit "
            f"{_LARGEST_BYTES}; write a label track instead"
        )
    rate = recording.sample_rate_hz
    marks = _marks(recording, labels)
    file.write(b"RIFF" + struct.pack("<I", 36 + n_bytes + len(marks)) + b"WAVE")
    file.write(b"fmt " + struct.pack("<IHHIIHH", 16, 1, 1, rate, 2 * rate, 2, 16))
    file.write(b"data" + struct.pack("<I", n_bytes))
    step = _BLOCK_S * rate
    for start in range(0, recording.n_samples, step):
        samples = recording.read(start, min(start + step, recording.n_samples))
        whole = np.clip(np.round(samples * 32767.0), -32768, 32767)
        file.write(whole.astype("<i2").tobytes())
    file.write(marks)


def _marks(recording: Recording, labels: list[tuple[float, float, str]]) -> bytes:
    """Return the chunks with the cue points and their names."""
    points, names = [], []
    for number, (start_s, _, label) in enumerate(labels, 1):
        offset = min(max(round(start_s * recording.sample_rate_hz), 0), recording.n_samples)
        points.append(struct.pack("<II4sIII", number, offset, b"data", 0, 0, offset))
        text = label.encode("ascii") + b"\0"
        names.append(
            b"labl" + struct.pack("<II", 4 + len(text), number) + text + b"\0" * (len(text) % 2)
        )
    cue = struct.pack("<I", len(points)) + b"".join(points)
    named = b"adtl" + b"".join(names)
    return (
        b"cue "
        + struct.pack("<I", len(cue))
        + cue
        + b"LIST"
        + struct.pack("<I", len(named))
        + named
    )
