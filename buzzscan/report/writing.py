"""Writes the pages and files of a report.

Conventions
-----------
Each function returns the paths it wrote, in a fixed order.

Limits
------
The folder must exist.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from buzzscan.errors import BuzzscanError, OutputError
from buzzscan.plots.neckmap import INLAYS
from buzzscan.report import page
from buzzscan.report.clips import ClipSet, clips_of
from buzzscan.report.customer import MOST_SHOWN, CustomerView, customer_view_of
from buzzscan.report.letter import customer_pdf
from buzzscan.report.marks import labels_of, labels_text, write_cued
from buzzscan.report.paper import bench_pdf, neck_png
from buzzscan.report.tables import notes_csv
from buzzscan.report.view import ReportView, view_of
from buzzscan.scanning import Scan

__all__ = [
    "Audience",
    "bench_html",
    "clip_data",
    "customer_html",
    "write_cued_wav",
    "write_file",
    "write_labels",
    "write_report",
]

Audience = Literal["bench", "customer", "both"]


def write_report(scan: Scan, out_dir: Path, *, audience: Audience = "bench") -> tuple[Path, ...]:
    """Write the report of a scan.

    Parameters
    ----------
    scan
        What to report.
    out_dir
        Folder that exists.
    audience
        "bench" for the repairer's sheet with picture and table, "customer" for the page to
        show a customer, "both" for all of it.

    Returns
    -------
    tuple of Path
        What was written.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    view = view_of(scan)
    clips = clips_of(scan, scan.positions)
    bench: dict[str, Callable[[], bytes]] = {
        "report.html": lambda: bench_html(view, clips).encode("utf-8"),
        "report.pdf": lambda: bench_pdf(view, clips),
        "neck.png": lambda: neck_png(view),
        "notes.csv": lambda: notes_csv(scan).encode("utf-8"),
    }
    customer = customer_view_of(scan, view)
    letter: dict[str, Callable[[], bytes]] = {
        "customer.html": lambda: customer_html(customer, clips).encode("utf-8"),
        "customer.pdf": lambda: customer_pdf(customer, clips),
    }
    files = (bench if audience != "customer" else {}) | (letter if audience != "bench" else {})
    return tuple(write_file(out_dir / name, make()) for name, make in files.items())


def write_labels(scan: Scan, out_dir: Path) -> tuple[Path, ...]:
    """Write a label track for each recording and return the paths.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    return tuple(
        write_file(out_dir / f"{_stem(scan, index)}.labels.txt", labels_text(scan, index).encode())
        for index in range(len(scan.recordings))
    )


def write_cued_wav(scan: Scan, out_dir: Path) -> tuple[Path, ...]:
    """Write a WAV copy of each recording, with a cue point at each note, and return the paths.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    paths = []
    for index, recording in enumerate(scan.recordings):
        path = out_dir / f"{_stem(scan, index)}.cues.wav"
        try:
            with path.open("wb") as file:
                write_cued(file, recording, labels_of(scan, index))
        except OSError as error:
            if isinstance(error, BuzzscanError):
                raise
            raise _cannot_write(path, error) from error
        paths.append(path)
    return tuple(paths)


def _stem(scan: Scan, index: int) -> str:
    """Return the start of a file name for a recording: its own, with nothing but plain signs."""
    stem = Path(scan.recordings[index].name).stem
    plain = "".join(c if c.isalnum() or c in "-_ " else "_" for c in stem).strip() or "recording"
    stems = [Path(r.name).stem for r in scan.recordings]
    return plain if stems.count(stem) == 1 else f"{plain}-{index + 1}"


def write_file(path: Path, data: bytes) -> Path:
    """Write a file and return its path.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    try:
        path.write_bytes(data)
    except OSError as error:
        raise _cannot_write(path, error) from error
    return path


def _cannot_write(path: Path, error: OSError) -> OutputError:
    """Return what to say of a file; the folder that it is made in is not what the user gave."""
    return OutputError(
        f"cannot write {path.name}: {error.strerror}; earlier files are as they were. Make room "
        "or give another folder"
    )


def bench_html(view: ReportView, clips: ClipSet) -> str:
    """Return the repairer's page."""
    return page.render(
        "bench.html",
        script="bench.js",
        view=view,
        positions=view.positions,
        inlays=INLAYS,
        ticks=clips.ticks,
        data={key: _position_data(view, clips, key) for key in view.positions},
    )


def customer_html(customer: CustomerView, clips: ClipSet) -> str:
    """Return the page to show a customer."""
    return page.render(
        "customer.html",
        customer=customer,
        clips=clips.by_key,
        ticks=clips.ticks,
        inlays=INLAYS,
        most=MOST_SHOWN,
    )


def _position_data(view: ReportView, clips: ClipSet, key: str) -> dict[str, Any]:
    position = view.positions[key]
    return {
        "title": position.title,
        "verdicts": position.verdicts,
        "numbers": position.numbers,
        "reason": position.reason,
        "neighbour": position.neighbour,
        "alone": "none on this string or fret",
        "clip": clip_data(clips, key),
    }


def clip_data(clips: ClipSet, key: str) -> dict[str, str] | None:
    """Return a clip as the page's script reads it, or None if there is none."""
    clip = clips.by_key.get(key)
    if clip is None:
        return None
    return {
        "label": clip.label,
        "sound": clip.sound,
        "wave": clip.wave,
        "fall": clip.fall,
        "spectrogram": clip.spectrogram,
    }
