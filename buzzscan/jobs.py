"""Jobs: from recordings to a report in a folder, one or many at once.

Conventions
-----------
A job is one instrument. Its outputs appear together or not at all; of many jobs, one that
fails leaves the others alone. A folder that is named by the program alone never takes the
place of a report of other recordings: its name is given a number.

Limits
------
Many jobs run in processes of their own, each with the memory of one scan.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal

from buzzscan.comparefile import read_comparison
from buzzscan.comparison import Comparison
from buzzscan.errors import BuzzscanError, UnreadableFileError
from buzzscan.neck.verdict import Bars
from buzzscan.outputs import own_folder, whole_folder
from buzzscan.recording import SOUND_SUFFIXES, file_sha256
from buzzscan.scanfile import SCAN_NAME, read_scan, write_scan_json
from buzzscan.scanning import Scan, recording_paths, scan

__all__ = [
    "REPORTS",
    "Done",
    "Job",
    "comparison_folder",
    "default_folder",
    "jobs_in",
    "run_job",
    "run_jobs",
]

REPORTS = Path("reports")
"""Where reports go when no folder is given."""

GUITAR_NAME = "guitar.toml"
_PAGES = (
    "notes.csv",
    "report.html",
    "report.pdf",
    "neck.png",
    "customer.html",
    "customer.pdf",
)
"""What is made from a scan: pages of an earlier one must not stand beside it."""

Audience = Literal["bench", "customer", "both"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What to scan and where to report it.

    Parameters
    ----------
    recordings
        Sound files, or folders of them, of one instrument.
    guitar
        Guitar file; None for the one that lies in the folder of recordings, if any does.
    out_dir
        Folder of the report; None for one under `REPORTS`.
    bars
        Bars between the verdicts.
    audience
        Whom the pages are for.
    marks
        Whether to write label tracks and WAV copies with cue points too.
    """

    recordings: tuple[Path, ...]
    guitar: Path | None
    out_dir: Path | None
    bars: Bars
    audience: Audience
    marks: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """How a job ended.

    Parameters
    ----------
    job
        The job.
    out_dir
        Where its report is; None if it failed.
    text
        Map and findings for the terminal; empty if it failed.
    error
        What went wrong; empty if nothing did.
    remarks
        What else to say on stderr.
    """

    job: Job
    out_dir: Path | None
    text: str
    error: str
    remarks: tuple[str, ...] = ()


def run_job(
    job: Job,
    *,
    width: int = 80,
    color: bool = False,
    progress: Callable[[float], None] | None = None,
) -> Done:
    """Scan, write the report, and return the text for the terminal.

    Raises
    ------
    BuzzscanError
        If the recordings cannot be judged or the report cannot be written.
    """
    from buzzscan.report import render_terminal, write_cued_wav, write_labels, write_report

    found = guitar_beside(job.recordings[0]) if len(job.recordings) == 1 else None
    guitar = job.guitar or found
    result = scan(job.recordings, guitar, bars=job.bars, progress=progress)
    out_dir = job.out_dir or default_folder(job.recordings, result)
    # a file that nobody named is told
    remarks = [f"The guitar file is {found}."] if job.guitar is None and found else []
    with whole_folder(out_dir, pages=_PAGES, result=SCAN_NAME, tell=remarks.append) as work:
        write_scan_json(result, work / SCAN_NAME, folder=out_dir)
        write_report(result, work, audience=job.audience)
        if job.marks:
            write_labels(result, work)
            write_cued_wav(result, work)
    text = render_terminal(result, width=width, color=color)
    return Done(job=job, out_dir=out_dir, text=text, error="", remarks=tuple(remarks))


def default_folder(recordings: Sequence[Path], result: Scan) -> Path:
    """Return the folder for a report: named after the first recording, never another's."""
    mine = [r.sha256 for r in result.recordings]
    return own_folder(REPORTS / _name(recordings[0]), lambda folder: _takes_of(folder) == mine)


def comparison_folder(before: Path, after: Path, comparison: Comparison) -> Path:
    """Return the folder for a comparison: named after both reports, never another's.

    Parameters
    ----------
    before, after
        The reports as they were given: folders, or the scan.json in them.
    comparison
        What is to be written.
    """
    mine = [[r.sha256 for r in scan.recordings] for scan in (comparison.before, comparison.after)]

    def is_mine(folder: Path) -> bool:
        try:
            earlier = read_comparison(folder)
        except BuzzscanError:
            return False
        sides = (earlier.before, earlier.after)
        return [[sha256 for _, sha256 in side.recordings] for side in sides] == mine

    return own_folder(REPORTS / f"{_report_name(before)}-to-{_report_name(after)}", is_mine)


def _name(recording: Path) -> str:
    """Return the name for a report of a sound file or of a folder of them."""
    return recording.absolute().name if recording.is_dir() else recording.stem


def _report_name(path: Path) -> str:
    absolute = path.absolute()
    return absolute.parent.name if absolute.suffix == ".json" else absolute.name


def _takes_of(folder: Path) -> list[str] | None:
    """Return the hashes of the recordings that a report is of, None where there is no report."""
    try:
        return [r.sha256 for r in read_scan(folder).recordings]
    except BuzzscanError:
        return None


def _is_of(folder: Path, item: Path) -> bool:
    """Return whether a report is of the recordings of a job that has not run yet."""
    try:
        # A scan passes over a second copy of a recording.
        mine = list(dict.fromkeys(map(file_sha256, recording_paths(item))))
    except BuzzscanError:  # the job itself will say what is wrong
        return False
    return _takes_of(folder) == mine


def jobs_in(
    paths: Sequence[Path],
    *,
    guitar: Path | None,
    out_dir: Path | None,
    bars: Bars,
    audience: Audience,
    marks: bool = False,
) -> tuple[Job, ...]:
    """Return a job for every recording and every folder of recordings among the paths.

    Of a folder, each sound file and each folder in it is a job. A job has a guitar file of its
    own where "guitar.toml" lies in its folder or a TOML file of the same name beside it; `guitar`
    describes those that have none.

    Raises
    ------
    UnreadableFileError
        If a folder cannot be read or holds no recording.
    """
    jobs = []
    taken: set[Path] = set()
    for item in [found for path in paths for found in _items(path)]:
        place = (out_dir or REPORTS) / _name(item)
        folder = own_folder(place, partial(_is_of, item=item), taken=taken)
        taken.add(folder)
        jobs.append(
            Job(
                recordings=(item,),
                guitar=_own_guitar(item) or guitar,
                out_dir=folder,
                bars=bars,
                audience=audience,
                marks=marks,
            )
        )
    return tuple(jobs)


def _own_guitar(item: Path) -> Path | None:
    """Return the guitar file of a job: in its folder, or first of its recording's name."""
    if item.is_dir():
        return guitar_beside(item)
    named = item.with_suffix(".toml")
    return named if named.is_file() else guitar_beside(item.parent)


def _items(path: Path) -> list[Path]:
    """Return the jobs that a path holds."""
    if not path.is_dir():
        return [path]
    try:
        inside = sorted(p for p in path.iterdir() if not p.name.startswith("."))
        items = [
            p
            for p in inside
            if p.suffix.lower() in SOUND_SUFFIXES or (p.is_dir() and _has_sound(p))
        ]
    except OSError as error:
        raise UnreadableFileError(
            f"cannot read {path}: {error.strerror}; check the path"
        ) from error
    if not items:
        recording_paths(path)  # says what is missing
    return items


def _has_sound(folder: Path) -> bool:
    try:
        return bool(recording_paths(folder))
    except UnreadableFileError:
        return False


def guitar_beside(folder: Path) -> Path | None:
    """Return the guitar file that lies in a folder of recordings, if one does."""
    own = folder / GUITAR_NAME
    return own if folder.is_dir() and own.is_file() else None


def run_jobs(jobs: Sequence[Job], *, n_at_once: int, width: int = 80) -> Iterator[Done]:
    """Run jobs in processes of their own; yield each as it ends, failed ones too.

    Parameters
    ----------
    jobs
        What to do.
    n_at_once
        How many processes.
    width
        Columns for the texts.
    """
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor, as_completed

    # A fresh interpreter for each: nothing is shared, and threads of libraries do no harm.
    context = multiprocessing.get_context("spawn")
    n_workers = max(min(n_at_once, len(jobs)), 1)
    stop = context.Event()
    others = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(
        n_workers, mp_context=context, initializer=_start_worker, initargs=(stop,)
    )
    try:
        with _interrupts_held():
            waiting = {pool.submit(_run_apart, job, width): job for job in jobs}
        for future in as_completed(waiting):
            error = future.exception()
            if error is None:
                yield future.result()
            else:  # the process died: out of memory, or killed
                text = f"the process ended before its work was done ({error})"
                yield Done(job=waiting[future], out_dir=None, text="", error=text)
    except BaseException:
        stop.set()  # for those that have not begun
        for worker in set(multiprocessing.active_children()) - others:
            if worker.pid is not None:
                with suppress(OSError):  # it may have ended by itself
                    os.kill(worker.pid, signal.SIGINT)
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Hold interrupts back; processes that are started meanwhile begin that way."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


_stop: list[Any] = []
"""In a worker: the event that says that no job is to begin any more."""


def _start_worker(stop: Any) -> None:
    """Keep interrupts to a worker's jobs: one that waits for work is ended by the pool."""
    _stop.append(stop)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})


def _run_apart(job: Job, width: int) -> Done:
    if _stop and _stop[0].is_set():
        raise KeyboardInterrupt
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        return run_job(job, width=width)
    except BuzzscanError as error:
        return Done(job=job, out_dir=None, text="", error=str(error))
    except Exception as error:  # noqa: BLE001 - the other jobs go on
        text = f"internal error ({type(error).__name__}: {error})"
        return Done(job=job, out_dir=None, text="", error=text)
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
