"""Clips are the right notes, at the right length and at one gain."""

from __future__ import annotations

import base64
import io
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from buzzscan.errors import UnreadableFileError
from buzzscan.report.clips import LEAD_S, Clip, ClipSet, clips_of, note_of
from buzzscan.report.sound import at_clip_rate, clip_rate_hz, mp3_uri
from buzzscan.scanning import Scan

NOTE_S = 0.3
FRAME_S = 576 / 16000
"""One MP3 frame at 16 kHz (ISO/IEC 13818-3)."""


def decoded(clip: Clip) -> tuple[npt.NDArray[np.float32], int]:
    raw = base64.b64decode(clip.sound.removeprefix("data:audio/mpeg;base64,"))
    samples, rate_hz = soundfile.read(io.BytesIO(raw), dtype="float32")
    return samples, rate_hz


def some(scan: Scan, *places: tuple[int, int]) -> ClipSet:
    return clips_of(scan, [p for p in scan.positions if (p.string, p.fret) in places])


def test_sound_is_the_note(neck_scan: Scan) -> None:
    clip = some(neck_scan, (5, 12)).by_key["5-12"]
    samples, rate_hz = decoded(clip)
    assert len(samples) / rate_hz == pytest.approx(LEAD_S + NOTE_S, abs=FRAME_S)
    steady = samples[int(0.1 * rate_hz) : int(0.3 * rate_hz)]
    spectrum = np.abs(np.fft.rfft(steady * np.hanning(steady.size), 1 << 16))
    seen_hz = spectrum.argmax() * rate_hz / (1 << 16)
    # Window of 0.2 s: a peak is placed within a tenth of its 10 Hz main lobe.
    assert seen_hz == pytest.approx(neck_scan.guitar.pitch_hz(5, 12), abs=1.0)


def test_coder_adds_no_rattle_of_its_own() -> None:
    """Partials as bright as a fresh string's, over faint noise."""
    rate_hz = 22050
    t = np.arange(rate_hz) / rate_hz
    rng = np.random.default_rng(4)
    tone = sum(np.sin(2 * np.pi * 110.0 * n * t) * np.exp(-t * n / 8) / n for n in range(1, 90))
    sound = (0.3 * tone + 1e-3 * rng.standard_normal(t.size)).astype(np.float32)
    raw = base64.b64decode(mp3_uri(sound, rate_hz).removeprefix("data:audio/mpeg;base64,"))
    heard, _ = soundfile.read(io.BytesIO(raw), dtype="float32")
    up_to_5_khz = np.fft.rfftfreq(t.size, 1 / rate_hz) < 5000.0
    own, added = (np.abs(np.fft.rfft(x))[up_to_5_khz] for x in (sound, heard[: t.size] - sound))
    assert 10 * np.log10(np.sum(own**2) / np.sum(added**2)) > 28.0


def test_clips_of_a_set_share_one_gain(neck_scan: Scan) -> None:
    clips = some(neck_scan, (6, 9), (6, 20))
    bad, good = (decoded(clips.by_key[key])[0] for key in ("6-9", "6-20"))
    notes = {n.note.id: n for n in neck_scan.notes}
    sources = {}
    for position in neck_scan.positions:
        if (position.string, position.fret) in {(6, 9), (6, 20)}:
            note = note_of(position, notes)
            assert note is not None
            rate = neck_scan.recordings[0].sample_rate_hz
            start, stop = round(note.note.onset_s * rate), round(note.note.end_s * rate)
            sources[position.fret] = neck_scan.recordings[0].read(start, stop)
    ratio = float(np.sqrt(np.mean(bad**2) / np.mean(good**2)))
    truth = float(np.sqrt(np.mean(sources[9] ** 2) / np.mean(sources[20] ** 2)))
    # The coder keeps levels within about half a decibel, plus lead-in and fade.
    assert 20 * np.log10(ratio / truth) == pytest.approx(0.0, abs=1.0)
    assert max(float(np.abs(bad).max()), float(np.abs(good).max())) < 1.0


def test_quiet_recording_is_raised(neck_scan: Scan) -> None:
    class Quiet:
        def read(self, start: int, stop: int) -> npt.NDArray[np.float32]:
            return neck_scan.recordings[0].read(start, stop) * np.float32(0.01)

    quiet = replace(neck_scan.recordings[0], source=Quiet())
    clips = some(replace(neck_scan, recordings=(quiet,)), (6, 9), (6, 20))
    peaks = [float(np.abs(decoded(clip)[0]).max()) for clip in clips.by_key.values()]
    # MP3 may overshoot its input by a few tenths.
    assert 0.7 < max(peaks) <= 1.0


def test_note_that_stands_for_a_position_is_judged_and_typical(neck_scan: Scan) -> None:
    position = next(p for p in neck_scan.positions if (p.string, p.fret) == (6, 9))
    first, second = position.notes
    notes = {
        n.note.id: replace(n, buzz_db={first: -30.0, second: -22.5}.get(n.note.id, -60.0))
        for n in neck_scan.notes
    }
    chosen = note_of(position, notes)
    assert chosen is not None
    assert chosen.note.id == second
    notes[second] = replace(notes[second], judged=False, reason="clipped")
    chosen = note_of(position, notes)
    assert chosen is not None
    assert chosen.note.id == first
    assert note_of(replace(position, notes=()), notes) is None


def test_recording_that_is_gone_gives_no_clip(neck_scan: Scan) -> None:
    class Gone:
        def read(self, start: int, stop: int) -> npt.NDArray[np.float32]:
            raise UnreadableFileError(f"cannot read {start} to {stop}")

    recordings = (replace(neck_scan.recordings[0], source=Gone()),)
    clips = some(replace(neck_scan, recordings=recordings), (6, 9))
    assert clips.by_key == {}


def test_axis_of_time_holds_the_longest_note(neck_scan: Scan) -> None:
    clips = some(neck_scan, (6, 9), (1, 5))
    assert clips.span_s == 0.6
    assert [label for _, label in clips.ticks] == ["0", "0.2", "0.4 s"]
    assert all(0.0 <= share <= 1.0 for share, _ in clips.ticks)
    assert all(clip.length_s <= clips.span_s for clip in clips.by_key.values())


def test_long_notes_are_cut_at_one_second(neck_scan: Scan) -> None:
    notes = tuple(
        replace(n, note=replace(n.note, end_s=n.note.onset_s + 5.0)) for n in neck_scan.notes
    )
    clip = some(replace(neck_scan, notes=notes), (6, 3)).by_key["6-3"]
    assert clip.length_s == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize(
    ("rate_hz", "clip_hz"),
    [(44100, 22050), (48000, 24000), (50000, 24000), (22050, 22050), (16000, 16000), (8000, 8000)],
)
def test_rate_of_clips(rate_hz: int, clip_hz: int) -> None:
    assert clip_rate_hz(rate_hz) == clip_hz


@pytest.mark.parametrize("length_s", [0.001, 0.02, 0.15])
def test_short_notes_can_be_drawn_and_played(neck_scan: Scan, length_s: float) -> None:
    notes = tuple(
        replace(n, pitch_hz=None, note=replace(n.note, end_s=n.note.onset_s + length_s))
        for n in neck_scan.notes
    )
    clip = some(replace(neck_scan, notes=notes), (6, 9)).by_key["6-9"]
    assert clip.length_s == pytest.approx(LEAD_S + length_s, abs=1e-3)
    assert decoded(clip)[0].size > 0
    assert clip.wave.startswith("M")
    assert clip.fall.startswith("M")


def test_silence_can_be_drawn_and_played(neck_scan: Scan) -> None:
    class Silent:
        def read(self, start: int, stop: int) -> npt.NDArray[np.float32]:
            return np.zeros(stop - start, np.float32)

    recordings = (replace(neck_scan.recordings[0], source=Silent()),)
    clip = some(replace(neck_scan, recordings=recordings), (6, 9)).by_key["6-9"]
    assert float(np.abs(decoded(clip)[0]).max()) < 1e-3
    assert clip.fall == "", "no level to draw"


@pytest.mark.parametrize("rate_hz", [8000, 11025, 37800, 50000])
def test_any_rate_becomes_one_that_mp3_knows(rate_hz: int) -> None:
    tone = np.sin(2 * np.pi * 440.0 * np.arange(rate_hz) / rate_hz).astype(np.float32)
    samples, target = at_clip_rate(tone, rate_hz)
    assert target == clip_rate_hz(rate_hz) <= rate_hz
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size)))
    # One second: bins are 1 Hz apart.
    assert spectrum.argmax() * target / samples.size == pytest.approx(440.0, abs=1.0)
