"""Single notes to be seen and heard, small enough to live inside the page.

Conventions
-----------
One note stands for each position: the judged one whose buzz lies nearest to the position's.
All clips of a set are raised by the same number of decibels and drawn on one axis of time, so
that they can be compared by ear and by eye. Times run from `LEAD_S` before the attack to the
next note, at most `LONGEST_S`.

Limits
------
Where a recording can no longer be read there is no clip.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.errors import BuzzscanError
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import Position
from buzzscan.plots import traces
from buzzscan.report import words
from buzzscan.report.sound import at_clip_rate, mp3_uri
from buzzscan.scanning import Scan

__all__ = ["LEAD_S", "Clip", "ClipSet", "clips_of", "note_of", "span_of"]

Samples = npt.NDArray[np.float32]

LONGEST_S = 1.0
"""Buzz and choking show within it, and a whole neck stays under 3 MB."""
LEAD_S = 0.03
"""What is kept before the attack, so that it is heard whole."""
_FADE_S = 0.012
_PEAK = 0.8
_SPANS_S = ((0.3, 0.1), (0.6, 0.2), (LONGEST_S, 0.25))
"""Widths of the axis of time, and the step of its ticks."""

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
        Lowest and highest sample per column, re the loudest clip of the set, over `length_s`.
    levels_db, fall_db
        Spectrogram and level of the first partial, as `buzzscan.plots.traces` returns them,
        over the span of the set.
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
        return traces.png_uri(traces.shaded(self.levels_db), traces.SHADES)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClipSet:
    """Clips that share one axis of time.

    Parameters
    ----------
    by_key
        Clips by "string-fret".
    span_s
        Width of the axis.
    ticks
        (share of the width, label) of each tick.
    """

    by_key: Mapping[str, Clip]
    span_s: float
    ticks: tuple[tuple[float, str], ...]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Take:
    key: str
    measured: MeasuredNote
    samples: Samples
    rate_hz: int

    @property
    def length_s(self) -> float:
        return self.samples.size / self.rate_hz


def span_of(scan: Scan) -> float:
    """Return the width in seconds of an axis of time that holds every clip of a scan."""
    longest = max((n.note.end_s - n.note.onset_s for n in scan.notes), default=LONGEST_S)
    return next((span for span, _ in _SPANS_S if longest + LEAD_S <= span), LONGEST_S)


def clips_of(scan: Scan, positions: Iterable[Position], *, span_s: float | None = None) -> ClipSet:
    """Return a clip for each position that has a note.

    Parameters
    ----------
    scan
        Where the notes and recordings are.
    positions
        Positions to show.
    span_s
        Width of the axis of time; that of the scan if None.
    """
    by_id = {n.note.id: n for n in scan.notes}
    chosen = ((f"{p.string}-{p.fret}", note_of(p, by_id)) for p in positions)
    order = sorted(
        ((key, note) for key, note in chosen if note is not None),
        key=lambda item: item[1].note.id,  # recordings are read from front to back
    )
    takes = [take for key, note in order if (take := _take(scan, key, note)) is not None]
    peak = max((float(np.abs(take.samples).max()) for take in takes), default=0.0) or 1.0
    span_s = span_of(scan) if span_s is None else span_s
    with ThreadPoolExecutor(max_workers=2) as pool:
        gain = np.float32(_PEAK / peak)
        sounds = list(pool.map(lambda take: mp3_uri(take.samples * gain, take.rate_hz), takes))
    clips = {
        take.key: _drawn(scan, take, sound=sound, peak=peak, span_s=span_s)
        for take, sound in zip(takes, sounds, strict=True)
    }
    return ClipSet(by_key=clips, span_s=span_s, ticks=_ticks(span_s))


def _ticks(span_s: float) -> tuple[tuple[float, str], ...]:
    step_s = dict(_SPANS_S)[span_s]
    n_ticks = int((span_s - LEAD_S) / step_s) + 1
    return tuple(
        ((LEAD_S + i * step_s) / span_s, f"{i * step_s:g}" + (" s" if i == n_ticks - 1 else ""))
        for i in range(n_ticks)
    )


def _take(scan: Scan, key: str, measured: MeasuredNote) -> _Take | None:
    """Return a note's samples, or None where they can no longer be read."""
    note = measured.note
    recording = scan.recordings[note.recording]
    rate = recording.sample_rate_hz
    start_s = max(note.onset_s - LEAD_S, 0.0)
    stop_s = min(note.end_s, start_s + LONGEST_S)
    try:
        read = recording.read(round(start_s * rate), round(stop_s * rate))
    except BuzzscanError:
        return None
    if not read.size:
        return None
    samples, target = at_clip_rate(read, rate)
    samples = samples.copy()
    n_fade = min(round(_FADE_S * target), samples.size // 2)
    ramp = np.linspace(0.0, 1.0, n_fade, dtype=np.float32)
    samples[:n_fade] *= ramp
    samples[samples.size - n_fade :] *= ramp[::-1]
    return _Take(key=key, measured=measured, samples=samples, rate_hz=target)


def _drawn(scan: Scan, take: _Take, *, sound: str, peak: float, span_s: float) -> Clip:
    note = take.measured.note
    pitch_hz = take.measured.pitch_hz or note.pitch_hz
    n_columns = max(round(_WAVE_COLUMNS * take.length_s / span_s), 2)
    return Clip(
        label=f"note {note.id} at {words.clock(note.onset_s)}, on the way {note.direction}",
        sound=sound,
        length_s=take.length_s,
        outline=traces.outline(take.samples / np.float32(peak), n_columns=n_columns),
        levels_db=traces.spectrogram(
            take.samples,
            rate_hz=take.rate_hz,
            length_s=span_s,
            n_columns=_SPECTROGRAM_COLUMNS,
            n_rows=_SPECTROGRAM_ROWS,
        ),
        fall_db=traces.partial_level_db(
            take.samples,
            rate_hz=take.rate_hz,
            pitch_hz=pitch_hz or scan.guitar.pitch_hz(note.string, note.fret),
            length_s=span_s,
            n_columns=_FALL_COLUMNS,
        ),
    )


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
