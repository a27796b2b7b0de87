"""Puts results in their place whole or not at all.

Conventions
-----------
Files are made in a hidden folder inside their place, which is on the same file system, and
moved when all of them are there. While they are moved, other runs wait and signals are held
back, so two runs do not mix and an interrupt leaves the old files or the new.

Nobody's work is thrown away: a page of an earlier result that this run does not write anew is
set aside under another name, so that it is neither lost nor taken for one of this result.

Limits
------
Runs wait for each other only where the system has advisory locks (not on Windows). A loss of
power in the milliseconds of the moving can leave files of both.
"""

from __future__ import annotations

import filecmp
import os
import shutil
import signal
import tempfile
import threading
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from buzzscan.errors import OutputError

__all__ = ["own_folder", "whole_folder"]

_PREFIX = ".unfinished-"


def own_folder(
    place: Path, is_mine: Callable[[Path], bool], *, taken: Collection[Path] = ()
) -> Path:
    """Return a folder that is free or one's own: `place`, or its name with a number.

    Parameters
    ----------
    place
        Where the results would go by their name alone.
    is_mine
        Tells of a folder that is there whether what it holds is an earlier result of the same.
    taken
        Folders that others are about to write.
    """
    folder, number = place, 1
    while folder in taken or (folder.exists() and not is_mine(folder)):
        number += 1
        folder = place.with_name(f"{place.name}-{number}")
    return folder


@contextmanager
def whole_folder(
    out_dir: str | os.PathLike[str],
    *,
    pages: Iterable[str] = (),
    result: str = "",
    tell: Callable[[str], None] | None = None,
) -> Iterator[Path]:
    """Yield a folder for files that appear in `out_dir` when the block ends well.

    Parameters
    ----------
    out_dir
        Where the files end; made if it is not there. What else it holds stays.
    pages
        Names of files that are made from the result. Those that an earlier run left and this
        one does not write anew are set aside, unless the result is the same.
    result
        Name of the file that holds the result.
    tell
        Called with a sentence on what was set aside.

    Raises
    ------
    OutputError
        If the folder cannot be made or written. Nothing is changed then.
    """
    place = Path(out_dir)
    made = _make(place)
    try:
        try:
            work = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=place))
        except OSError as error:
            raise _cannot_write(place, error) from error
        try:
            yield work
            try:
                aside = _move_all(work, place, frozenset(pages), result)
            except OSError as error:
                raise _cannot_write(place, error) from error
            if aside and tell is not None:
                names = ", ".join(f"{old} is now {new}" for old, new in aside)
                tell(f"pages of an earlier result were kept under other names: {names}")
        finally:
            shutil.rmtree(work, ignore_errors=True)
    except BaseException:
        for folder in reversed(made):
            with suppress(OSError):  # another run may have put something there
                folder.rmdir()
        raise


def _make(place: Path) -> list[Path]:
    """Make a folder and those above it; return the ones that are new."""
    made = []
    try:
        missing = [p for p in (*reversed(place.parents), place) if not p.exists()]
        for folder in missing:
            folder.mkdir(exist_ok=True)
            made.append(folder)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the path
        for folder in reversed(made):
            with suppress(OSError):
                folder.rmdir()
        raise _cannot_write(place, error) from error
    if not place.is_dir():
        raise OutputError(f"cannot write into {place}: it is a file; give a folder with --out")
    return made


def _cannot_write(place: Path, error: OSError | ValueError) -> OutputError:
    reason = getattr(error, "strerror", None) or error
    return OutputError(
        f"cannot write into {place}: {reason}; nothing was changed there. Make room or give "
        "another folder"
    )


def _move_all(
    work: Path, place: Path, pages: frozenset[str], result: str
) -> tuple[tuple[str, str], ...]:
    """Move files into place, all or none; return the old and the new name of those set aside."""
    names = sorted(p.name for p in work.iterdir())
    old = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=place))
    try:
        with _alone(place), _held_signals():
            present = [p.name for p in place.iterdir() if p.is_file() or p.is_symlink()]
            stale = sorted(pages.intersection(present).difference(names))
            if _is_same(work / result, place / result):
                stale = []
            aside = tuple((name, _free_name(place, name)) for name in stale)
            _move(
                [
                    *((place / name, old / name) for name in names if name in present),
                    *((place / name, place / new) for name, new in aside),
                    # A folder of this name is the user's: the rename fails and all goes back.
                    *((work / name, place / name) for name in names),
                ]
            )
            return aside
    finally:
        shutil.rmtree(old, ignore_errors=True)


def _move(moves: Sequence[tuple[Path, Path]]) -> None:
    """Rename files in order; undo all of it if one cannot be renamed."""
    done: list[tuple[Path, Path]] = []
    try:
        for source, target in moves:
            source.rename(target)
            done.append((source, target))
    except OSError:
        for source, target in reversed(done):
            target.rename(source)
        raise


def _is_same(one: Path, other: Path) -> bool:
    """Return whether two files hold the same bytes."""
    return one.is_file() and other.is_file() and filecmp.cmp(one, other, shallow=False)


def _free_name(place: Path, name: str) -> str:
    """Return a name for an earlier file that no file has: "report-earlier.html"."""
    stem, suffix = Path(name).stem, Path(name).suffix
    number, free = 1, f"{stem}-earlier{suffix}"
    while os.path.lexists(place / free):
        number += 1
        free = f"{stem}-earlier-{number}{suffix}"
    return free


@contextmanager
def _alone(place: Path) -> Iterator[None]:
    """Hold the lock of a folder."""
    try:
        import fcntl
    except ImportError:  # no advisory locks on this system
        yield
        return
    handle = os.open(place, os.O_RDONLY)
    try:
        with suppress(OSError):  # some network file systems have no locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


@contextmanager
def _held_signals() -> Iterator[None]:
    """Hold back interrupts until the block is done."""
    if not hasattr(signal, "pthread_sigmask") or (
        threading.current_thread() is not threading.main_thread()
    ):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
