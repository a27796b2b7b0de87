"""Puts results in their place whole or not at all.

Conventions
-----------
Files are made in a hidden folder inside their place, which is on the same file system, and
moved when all of them are there. While they are moved, other runs wait and signals are held
back, so two runs do not mix and an interrupt leaves the old files or the new.

Limits
------
Runs wait for each other only where the system has advisory locks (not on Windows). A loss of
power in the milliseconds of the moving can leave files of both.
"""

from __future__ import annotations

import os
import shutil
import signal
import tempfile
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from buzzscan.errors import OutputError

__all__ = ["whole_folder"]

_PREFIX = ".unfinished-"


@contextmanager
def whole_folder(
    out_dir: str | os.PathLike[str], *, replaces: Iterable[str] = ()
) -> Iterator[Path]:
    """Yield a folder for files that appear in `out_dir` when the block ends well.

    Parameters
    ----------
    out_dir
        Where the files end; made if it is not there. What else it holds stays.
    replaces
        Names of files of an earlier run that go away if this run does not write them anew.

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
                _move_all(work, place, frozenset(replaces))
            except OSError as error:
                raise _cannot_write(place, error) from error
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


def _move_all(work: Path, place: Path, replaces: frozenset[str]) -> None:
    """Move files into place; put the old ones back if one cannot be moved."""
    names = sorted(p.name for p in work.iterdir())
    old = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=place))
    try:
        with _alone(place), _held_signals():
            moved: list[str] = []
            kept: list[str] = []
            try:
                for name in sorted({*names, *replaces}):
                    if (place / name).is_file() or (place / name).is_symlink():
                        (place / name).rename(old / name)
                        kept.append(name)
                for name in names:
                    # A folder of this name is the user's: the rename fails and all goes back.
                    (work / name).rename(place / name)
                    moved.append(name)
            except OSError:
                for name in moved:
                    (place / name).unlink(missing_ok=True)
                for name in kept:
                    (old / name).rename(place / name)
                raise
    finally:
        shutil.rmtree(old, ignore_errors=True)


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
