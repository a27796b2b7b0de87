"""JSON files of results: written with the same bytes for the same values, read within a limit.

Conventions
-----------
UTF-8, one space of indent, a final newline, and no number that JSON does not have.

Limits
------
What the values mean is the business of `buzzscan.scanfile` and `buzzscan.comparefile`.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from buzzscan.errors import OutputError, ScanFileError, UnreadableFileError

__all__ = ["read_result_bytes", "write_result"]


def write_result(mapping: dict[str, Any], path: str | os.PathLike[str]) -> Path:
    """Write plain values and return the path.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    where = Path(path)
    text = json.dumps(mapping, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    try:
        where.write_bytes(text.encode("utf-8"))
    except OSError as error:
        raise OutputError(
            f"cannot write {where.name}: {error.strerror}; make room or give another folder"
        ) from error
    return where


def read_result_bytes(
    path: str | os.PathLike[str], *, name: str, command: str, most_bytes: int
) -> tuple[Path, bytes]:
    """Return where a result is and its bytes.

    Parameters
    ----------
    path
        The file, or the folder that it is in.
    name
        What the file is called in its folder.
    command
        What wrote it, for messages.
    most_bytes
        Limit of its size, a whole number of MiB.

    Raises
    ------
    UnreadableFileError
        If the file cannot be read.
    ScanFileError
        If it is larger than the limit.
    """
    where = Path(path)
    try:
        if where.is_dir():
            where = where / name
        with where.open("rb") as file:
            data = file.read(most_bytes + 1)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the path
        reason = getattr(error, "strerror", None) or error
        raise UnreadableFileError(
            f"cannot read {where}: {reason}; give a {name} or the folder it is in"
        ) from error
    if len(data) > most_bytes:
        raise ScanFileError(
            f"{where} holds more than {most_bytes // 1024**2} MiB, the limit of a "
            f"{name}; give the file that {command} wrote"
        )
    return where, data
