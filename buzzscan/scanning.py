"""The whole way from recordings to a judged neck.

Conventions
-----------
`scan` returns a frozen `Scan`: every output is made from it and from nothing else.

Limits
------
Reading, finding, measuring and judging live in their own modules; this one only joins them.
"""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from buzzscan.errors import RecordingError, UnreadableFileError
from buzzscan.guitar import Guitar, load_guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import Bars, Finding, Position
from buzzscan.recording import SOUND_SUFFIXES, Recording, open_recording

__all__ = ["MOST_RECORDINGS", "Scan", "recording_paths", "scan"]

MOST_RECORDINGS = 64
"""More files than strings, passes and retakes of any instrument: a wrong folder."""

_READ, _FOUND, _MEASURED = 0.2, 0.6, 0.97
"""Share of the work done after each step, for the progress."""

StrPath = str | os.PathLike[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """One judged neck.

    Parameters
    ----------
    recordings
        What was listened to; `MeasuredNote.note.recording` indexes it.
    guitar
        The instrument, as given or as found.
    tuning_found
        True when the tuning was found from the recordings.
    offset_cents
        How far the instrument as a whole lies from its nominal pitch, where its notes settle.
    remarks
        Sentences for the user about the search.
    bars
        The bars the verdicts were set by.
    notes, positions, findings
        Results.
    """

    recordings: tuple[Recording, ...]
    guitar: Guitar
    tuning_found: bool
    offset_cents: float
    remarks: tuple[str, ...]
    bars: Bars
    notes: tuple[MeasuredNote, ...]
    positions: tuple[Position, ...]
    findings: tuple[Finding, ...]


def scan(
    recordings: StrPath | Recording | Iterable[StrPath | Recording],
    guitar: Guitar | StrPath | None = None,
    *,
    bars: Bars | None = None,
    progress: Callable[[float], None] | None = None,
) -> Scan:
    """Return the judged neck of one instrument.

    Parameters
    ----------
    recordings
        One or several sound files, folders of them, or opened recordings: all of one
        instrument, each with one string or several.
    guitar
        The instrument, or the path of its TOML file. Without it the tuning is found from the
        recordings where it can be, else standard six-string tuning is taken.
    bars
        Where the bars between the verdicts are set; `Bars()` if None.
    progress
        Called with the share of the work done, 0–1.

    Raises
    ------
    UnreadableFileError
        If a file or folder cannot be read.
    RecordingError
        If a recording cannot be judged.
    GuitarError
        If the guitar file does not describe a guitar.
    AnalysisError
        If no run over the neck is found.
    """
    from threadpoolctl import threadpool_limits

    instrument = guitar if guitar is None or isinstance(guitar, Guitar) else load_guitar(guitar)
    # Matrices here are small: more threads cost a third more processor time and save none, and
    # one thread adds up in the same order on every machine.
    with threadpool_limits(limits=1, user_api="blas"):
        return _scan(recordings, instrument, bars=bars or Bars(), progress=progress)


def _scan(
    recordings: StrPath | Recording | Iterable[StrPath | Recording],
    instrument: Guitar | None,
    *,
    bars: Bars,
    progress: Callable[[float], None] | None,
) -> Scan:
    from buzzscan.measures import held_remarks, measure_notes, offset_of
    from buzzscan.neck import judge, relief_remarks
    from buzzscan.notes import find_notes
    from buzzscan.notes.speed import offset_remarks, told_of_speed

    opened, passed_over = _open_all(recordings, _part(progress, 0.0, _READ))
    found = find_notes(opened, instrument, progress=_part(progress, _READ, _FOUND))
    notes = measure_notes(
        opened,
        found.guitar,
        found.notes,
        offset_cents=found.offset_cents,
        progress=_part(progress, _FOUND, _MEASURED),
    )
    offset = offset_of(notes, near_cents=found.offset_cents)
    judgement = judge(found.guitar, notes, bars=bars, offset_cents=offset)
    if progress is not None:
        progress(1.0)
    return Scan(
        recordings=told_of_speed(opened, offset),
        guitar=found.guitar,
        tuning_found=found.tuning_found,
        offset_cents=offset,
        remarks=(
            *relief_remarks(found.guitar),
            *passed_over,
            *found.remarks,
            *offset_remarks(offset, found.guitar),
            *held_remarks(notes),
        ),
        bars=bars,
        notes=notes,
        positions=judgement.positions,
        findings=judgement.findings,
    )


def recording_paths(path: StrPath) -> tuple[Path, ...]:
    """Return the sound files that a path names: itself, or those in a folder, by name.

    Raises
    ------
    UnreadableFileError
        If it is a folder that cannot be read or holds no sound file.
    """
    where = Path(path)
    try:
        if not where.is_dir():
            return (where,)
        inside = sorted(
            p
            for p in where.iterdir()
            if p.suffix.lower() in SOUND_SUFFIXES and not p.name.startswith(".") and p.is_file()
        )
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise UnreadableFileError(f"cannot read {where}: {reason}; check the path") from error
    if not inside:
        raise UnreadableFileError(
            f"the folder {where} holds no sound file (WAV, FLAC, AIFF, Ogg or MP3); give the "
            "folder with the recordings"
        )
    return tuple(inside)


def _open_all(
    recordings: StrPath | Recording | Iterable[StrPath | Recording],
    progress: Callable[[float], None] | None,
) -> tuple[tuple[Recording, ...], tuple[str, ...]]:
    """Return all recordings with names of their own, and what was passed over."""
    if isinstance(recordings, (str, os.PathLike, Recording)):
        recordings = [recordings]
    wanted: list[Path | Recording] = []
    for item in recordings:
        wanted.extend([item] if isinstance(item, Recording) else recording_paths(item))
    if not 1 <= len(wanted) <= MOST_RECORDINGS:
        raise RecordingError(
            f"{len(wanted)} recordings, need 1 to {MOST_RECORDINGS} of one instrument; give the "
            "takes of one guitar at a time"
        )
    opened: dict[str, Recording] = {}
    passed_over = []
    for done, item in enumerate(wanted, 1):
        recording = item if isinstance(item, Recording) else open_recording(item)
        same = opened.get(recording.sha256)
        if same is not None:
            passed_over.append(
                f"{recording.path or recording.name} is the same recording as "
                f"{same.path or same.name} and was passed over."
            )
        else:
            name = _own_name(recording.name, {r.name for r in opened.values()})
            opened[recording.sha256] = dataclasses.replace(recording, name=name)
        if progress is not None:
            progress(done / len(wanted))
    return tuple(opened.values()), tuple(passed_over)


def _own_name(name: str, taken: set[str]) -> str:
    stem, dot, suffix = name.rpartition(".")
    number, own = 1, name
    while own in taken:
        number += 1
        own = f"{stem} ({number}){dot}{suffix}" if dot else f"{name} ({number})"
    return own


def _part(
    progress: Callable[[float], None] | None, first: float, last: float
) -> Callable[[float], None] | None:
    """Return a progress of one step out of the whole."""
    if progress is None:
        return None
    return lambda share: progress(first + (last - first) * share)
