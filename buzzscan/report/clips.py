"""Sound and pictures of single notes, small enough to live inside the page.

Conventions
-----------
One note stands for each position: the judged one whose buzz lies nearest to the position's.
All clips of a page are raised by the same number of decibels, so that they can be compared by
ear. Times run from 30 ms before the attack to the next note, at most `LENGTH_S`.

Limits
------
Sound is MP3, mono, at about half the recording's rate: fit for judging buzz up to 8 kHz by
ear, not for measuring.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import gcd

import numpy as np
import numpy.typing as npt

from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import Position
from buzzscan.plots import traces
from buzzscan.report import words
from buzzscan.scanning import Scan

__all__ = ["LENGTH_S", "Clip", "clips_of", "note_of"]

Samples = npt.NDArray[np.float32]

LENGTH_S = 1.0
"""Longest clip: buzz and choking show within it, and a whole neck stays under 3 MB."""
LEAD_S = 0.03
"""What is kept before the attack, so that it is heard whole."""
_FADE_S = 0.012
_MP3_RATES_HZ = (24000, 22050, 16000, 12000, 11025, 8000)
_BLOCK = 4096
"""Frames per write: one long write of some formats crashes libsndfile."""
_COMPRESSION = 0.7
"""libsndfile's scale 0–1; about 60 kbit/s at 22.05 kHz."""
_PEAK = 0.8

WIDTH, WAVE_HEIGHT, FALL_HEIGHT = 320, 64, 150
"""Drawing units of the paths; the templates' view boxes use the same."""
FALL_RANGE_DB = 60.0
_WAVE_COLUMNS, _FALL_COLUMNS = 160, 100
_SPECTROGRAM_COLUMNS, _SPECTROGRAM_ROWS = 100, 56


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """One note to be seen and heard.

    Parameters
    ----------
    label
        Which note of the recording it is.
    sound
        ``data:`` address of the sound.
    length_s
        Its length.
    outline
        Lowest and highest sample per column, re the loudest clip of the page, over `length_s`.
    levels_db
        Spectrogram, as `buzzscan.plots.traces.spectrogram` returns it, over `LENGTH_S`.
    fall_db
        Level of the first partial, as `buzzscan.plots.traces.partial_level_db` returns it.
    """

    label: str
    sound: str
    length_s: float
    outline: npt.NDArray[np.float32]
    levels_db: npt.NDArray[np.float32]
    fall_db: npt.NDArray[np.float32]

    @property
    def wave(self) -> str:
        """Outline as an SVG path, `WIDTH` × `WAVE_HEIGHT`."""
        return _wave_path(self.outline)

    @property
    def fall(self) -> str:
        """Level of the first partial as an SVG path, `WIDTH` × `FALL_HEIGHT`."""
        return _fall_path(self.fall_db)

    @property
    def spectrogram(self) -> str:
        """Spectrogram as a ``data:`` address of a PNG."""
        return traces.png_uri(_steps(self.levels_db), SHADES)


def note_of(position: Position, notes: Mapping[int, MeasuredNote]) -> MeasuredNote | None:
    """Return the note that stands for a position, or None if it has none."""
    own = [notes[i] for i in position.notes if i in notes]
    candidates = [n for n in own if n.judged] or own
    if not candidates:
        return None

    def away(note: MeasuredNote) -> float:
        if note.buzz_db is None or position.buzz_db is None:
            return 1e3
        return abs(note.buzz_db - position.buzz_db)

    return min(candidates, key=lambda n: (away(n), -(n.note.end_s - n.note.onset_s), n.note.id))


def clips_of(scan: Scan, positions: Iterable[Position]) -> dict[str, Clip]:
    """Return a clip for each position that has a note, by "string-fret".

    Parameters
    ----------
    scan
        Where the notes and recordings are.
    positions
        Positions to show.
    """
    by_id = {n.note.id: n for n in scan.notes}
    chosen = {f"{p.string}-{p.fret}": note_of(p, by_id) for p in positions}
    order = sorted(
        ((key, note) for key, note in chosen.items() if note is not None),
        key=lambda item: item[1].note.id,
    )
    sounds = [_read(scan, note) for _, note in order]
    peak = max((float(np.abs(samples).max(initial=0.0)) for samples, _ in sounds), default=0.0)
    gain = _PEAK / peak if peak > 0.0 else 1.0
    with ThreadPoolExecutor(max_workers=2) as pool:
        encoded = list(pool.map(lambda s: _mp3_uri(s[0] * np.float32(gain), s[1]), sounds))
    drawn = {
        key: _draw(scan, note, samples, rate_hz=rate_hz, peak=peak, sound=uri)
        for (key, note), (samples, rate_hz), uri in zip(order, sounds, encoded, strict=True)
    }
    return {key: drawn[key] for key in chosen if key in drawn}


def _read(scan: Scan, measured: MeasuredNote) -> tuple[Samples, int]:
    """Return the samples of a clip at a rate that MP3 knows, and that rate."""
    from scipy.signal import resample_poly

    note = measured.note
    recording = scan.recordings[note.recording]
    rate = recording.sample_rate_hz
    start = round((note.onset_s - LEAD_S) * rate)
    stop = round(min(note.end_s, note.onset_s - LEAD_S + LENGTH_S) * rate)
    samples = recording.read(max(start, 0), stop)
    target = _clip_rate_hz(rate)
    common = gcd(target, rate)
    if target != rate and samples.size:
        samples = resample_poly(samples, target // common, rate // common).astype(np.float32)
    n_fade = min(round(_FADE_S * target), samples.size // 2)
    if n_fade:
        samples = samples.copy()
        ramp = np.linspace(0.0, 1.0, n_fade, dtype=np.float32)
        samples[:n_fade] *= ramp
        samples[-n_fade:] *= ramp[::-1]
    return samples, target


def _clip_rate_hz(rate_hz: int) -> int:
    """Return the rate of a clip: one that divides the recording's, else the highest below."""
    for target in _MP3_RATES_HZ:
        if rate_hz % target == 0 and target >= 16000:
            return target
    return next((target for target in _MP3_RATES_HZ if target <= rate_hz), 8000)


def _mp3_uri(samples: Samples, rate_hz: int) -> str:
    import soundfile

    buffer = io.BytesIO()
    with soundfile.SoundFile(
        buffer,
        "w",
        rate_hz,
        1,
        format="MP3",
        subtype="MPEG_LAYER_III",
        compression_level=_COMPRESSION,
        bitrate_mode="CONSTANT",
    ) as file:
        for start in range(0, samples.size, _BLOCK):
            file.write(samples[start : start + _BLOCK])
    return "data:audio/mpeg;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")


def _draw(
    scan: Scan, measured: MeasuredNote, samples: Samples, *, rate_hz: int, peak: float, sound: str
) -> Clip:
    note = measured.note
    pitch_hz = measured.pitch_hz or note.pitch_hz or scan.guitar.pitch_hz(note.string, note.fret)
    length_s = samples.size / rate_hz
    n_columns = max(round(_WAVE_COLUMNS * length_s / LENGTH_S), 2)
    return Clip(
        label=f"note {note.id} at {words.clock(note.onset_s)}, on the way {note.direction}",
        sound=sound,
        length_s=length_s,
        outline=traces.outline(samples / np.float32(peak or 1.0), n_columns=n_columns),
        levels_db=traces.spectrogram(
            samples,
            rate_hz=rate_hz,
            length_s=LENGTH_S,
            n_columns=_SPECTROGRAM_COLUMNS,
            n_rows=_SPECTROGRAM_ROWS,
        ),
        fall_db=traces.partial_level_db(
            samples,
            rate_hz=rate_hz,
            pitch_hz=pitch_hz,
            length_s=LENGTH_S,
            n_columns=_FALL_COLUMNS,
        ),
    )


def _ramp() -> tuple[tuple[int, int, int], ...]:
    """Sixteen colours from paper to ink, evenly spaced, so that darker is always louder."""
    paper, middle, ink = np.array((247, 245, 239)), np.array((96, 128, 140)), np.array((20, 26, 40))
    colours = []
    for step in np.linspace(0.0, 2.0, 16):
        low, high, share = (paper, middle, step) if step < 1.0 else (middle, ink, step - 1.0)
        red, green, blue = (round(float(c)) for c in low + (high - low) * share)
        colours.append((red, green, blue))
    return tuple(colours)


SHADES = _ramp()
"""Colours of the spectrogram, quiet to loud."""


def _steps(levels_db: npt.NDArray[np.float32]) -> npt.NDArray[np.uint8]:
    share = 1.0 + levels_db / traces.SPECTROGRAM_RANGE_DB
    return np.clip(np.round(15.0 * share), 0, 15).astype(np.uint8)


def _wave_path(outline: npt.NDArray[np.float32]) -> str:
    """Return a closed outline."""
    low, high = outline.T
    step, middle = WIDTH / _WAVE_COLUMNS, WAVE_HEIGHT / 2
    tops = [f"{i * step:g} {middle - middle * y:.1f}" for i, y in enumerate(high)]
    bottoms = [f"{i * step:g} {middle - middle * y:.1f}" for i, y in enumerate(low)]
    return "M" + "L".join(tops + bottoms[::-1]) + "Z"


def _fall_path(levels_db: npt.NDArray[np.float32]) -> str:
    step = WIDTH / _FALL_COLUMNS
    points = [
        f"{(i + 0.5) * step:g} {min(-level / FALL_RANGE_DB, 1.0) * FALL_HEIGHT:.1f}"
        for i, level in enumerate(levels_db)
        if np.isfinite(level)
    ]
    return "M" + "L".join(points) if points else ""
