"""Label tracks and cue points sit where the notes begin."""

from __future__ import annotations

import io
import struct
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from buzzscan.errors import OutputError
from buzzscan.report.marks import labels_of, labels_text, write_cued
from buzzscan.scanning import Scan


def chunks(data: bytes) -> dict[bytes, bytes]:
    """Return the chunks of a RIFF file."""
    assert (data[:4], data[8:12]) == (b"RIFF", b"WAVE")
    assert struct.unpack("<I", data[4:8])[0] == len(data) - 8
    found, at = {}, 12
    while at < len(data):
        size = struct.unpack("<I", data[at + 4 : at + 8])[0]
        found[data[at : at + 4]] = data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
    return found


def test_labels_are_start_end_and_words_with_tabs(neck_scan: Scan) -> None:
    lines = labels_text(neck_scan, 0).splitlines()
    assert len(lines) == len(neck_scan.notes)
    start, end, label = lines[9].split("\t")
    assert (float(start), float(end)) == pytest.approx((2.7, 3.0), abs=1e-6)
    assert label == "s6 f9 choked"
    assert labels_text(neck_scan, 1) == "", "labels belong to one recording"


def test_cued_copy_holds_samples_and_named_cue_points(neck_scan: Scan) -> None:
    recording = neck_scan.recordings[0]
    labels = labels_of(neck_scan, 0)
    file = io.BytesIO()
    write_cued(file, recording, labels)
    samples, rate_hz = soundfile.read(io.BytesIO(file.getvalue()), dtype="float32")
    assert rate_hz == recording.sample_rate_hz
    # Half a step of 16 bits, and the factor 32767/32768.
    np.testing.assert_allclose(samples, recording.read(0, recording.n_samples), atol=5e-5)
    found = chunks(file.getvalue())
    n_points = struct.unpack("<I", found[b"cue "][:4])[0]
    assert n_points == len(labels)
    tenth = struct.unpack("<II4sIII", found[b"cue "][4 + 9 * 24 : 4 + 10 * 24])
    assert tenth == (10, round(2.7 * rate_hz), b"data", 0, 0, round(2.7 * rate_hz))
    assert b"s6 f9 choked\0" in found[b"LIST"]


def test_recording_too_long_for_wav_is_refused(neck_scan: Scan) -> None:
    recording = replace(neck_scan.recordings[0], n_samples=2**31)
    with pytest.raises(OutputError, match="too long for a WAV copy"):
        write_cued(io.BytesIO(), recording, [])
