"""Opens sound files and decodes them block by block.

Conventions
-----------
A block is float32, shape (samples, channels), full scale ±1. The same buffer is used for
every block: take what is needed before asking for the next.

Limits
------
Reads what libsndfile reads: WAV, AIFF, FLAC, Ogg Vorbis and Opus, MP3, CAF and the like.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from pathlib import Path
from typing import Any, Self

import numpy as np

from buzzscan.errors import RecordingError, UnreadableFileError
from buzzscan.recording.levels import FRAME_S
from buzzscan.recording.take import Samples

__all__ = ["SOUND_SUFFIXES", "SoundFile", "block_length", "check_format", "file_sha256"]

SOUND_SUFFIXES = frozenset(
    {".wav", ".wave", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".aif", ".aiff", ".aifc", ".caf"}
    | {".w64", ".rf64", ".au"}
)
"""Names of files in a folder that are taken for recordings."""

_BLOCK_SAMPLES = 1 << 16
"""Samples a block over all channels: fits the cache, and long enough that Python's share is
small."""
_MOST_CHANNELS = 32
_LOWEST_RATE_HZ, _HIGHEST_RATE_HZ = 4000, 768_000
"""Below 4 kHz even the attack of a note is gone; above 768 kHz no recorder works."""

_STEPS = {"PCM_U8": 2.0**-7, "PCM_S8": 2.0**-7, "ULAW": 2.0**-5, "ALAW": 2.0**-5}
"""Step near full scale of formats coarser than 16 bits."""

_SIGNATURES = (
    (4, b"ftyp", "MPEG-4 sound (m4a, aac)"),
    (0, b"\xff\xf1", "AAC sound"),
    (0, b"\xff\xf9", "AAC sound"),
    (0, b"\x30\x26\xb2\x75", "Windows Media sound"),
    (0, b"\x1a\x45\xdf\xa3", "Matroska or WebM"),
    (0, b"#!AMR", "AMR sound"),
    (0, b"MAC ", "Monkey's Audio"),
    (0, b"wvpk", "WavPack sound"),
)
"""Sound that cannot be read but can be converted: offset and bytes of its start, and its name."""


class SoundFile:
    """A sound file that is being decoded.

    Use as a context manager. `rate_hz`, `n_channels` and `n_samples` are what the header
    says; `n_read` counts what was really there, and `trouble` says in words where that ended
    early, or is empty.

    Parameters
    ----------
    path
        Where the file is.

    Raises
    ------
    UnreadableFileError
        If there is no such file or it may not be read.
    RecordingError
        If it holds no sound that can be read.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        self.sha256, start = _hash(self.path)
        self._file = _opened(self.path, start)
        self.rate_hz = int(self._file.samplerate)
        self.n_channels = int(self._file.channels)
        self.n_samples = int(self._file.frames)
        self.n_read = 0
        self.trouble = ""
        self._while_open = ExitStack()
        self.step = _STEPS.get(str(self._file.subtype), 2.0**-15)
        try:
            check_format(str(self.path), self.rate_hz, self.n_channels)
        except RecordingError:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        if self._file.format == "MP3":
            self._while_open.enter_context(_without_chatter())
        return self

    def __exit__(self, *_: object) -> None:
        self._while_open.close()
        self._file.close()

    def blocks(self) -> Iterator[Samples]:
        """Yield the sound block by block; a file that breaks off ends early."""
        import soundfile

        length = block_length(self.rate_hz, self.n_channels)
        buffer = np.empty((length, self.n_channels), np.float32)
        while True:
            try:
                block = self._file.read(out=buffer)
            except (soundfile.SoundFileError, RuntimeError) as error:
                self.trouble = f"decoding failed after {self._at()} ({str(error).rstrip('.')})"
                return
            if not len(block):
                break
            self.n_read += len(block)
            yield block
        promised = max(self.n_samples, self._samples_in_header())
        # Lossy coders pad and trim their ends by some frames; a tenth of a second is no loss.
        if promised - self.n_read > 0.1 * self.rate_hz:
            self.trouble = (
                f"its header promises {promised / self.rate_hz:.1f} s, it holds {self._at()}"
            )

    def _at(self) -> str:
        return f"{self.n_read / self.rate_hz:.1f} s"

    def _samples_in_header(self) -> int:
        """Return the length that a RIFF or AIFF header states, 0 if it fits the file.

        libsndfile mends the length of a file that was cut and only logs what it was.
        """
        for line in str(self._file.extra_info).splitlines():
            name, _, rest = line.partition(":")
            if name.strip() in ("data", "SSND") and "(should be" in rest:
                stated, _, real = rest.partition("(should be")
                stated_bytes, real_bytes = _digits(stated), _digits(real)
                # 0 and the largest sizes are what recorders write before they know better.
                if 0 < real_bytes < stated_bytes < 0x7FFF0000:
                    return round(self.n_samples * stated_bytes / real_bytes)
        return 0


def _digits(text: str) -> int:
    digits = "".join(c for c in text if c.isdigit())
    return int(digits) if digits else 0


def file_sha256(path: str | os.PathLike[str]) -> str:
    """Return what tells a recording from others: the SHA-256 of the file's bytes, as hex.

    Raises
    ------
    UnreadableFileError
        If there is no such file or it may not be read.
    RecordingError
        If it is empty.
    """
    return _hash(Path(path))[0]


def _hash(path: Path) -> tuple[str, bytes]:
    """Return the hash of a file's bytes, and its first bytes."""
    try:
        # Asked before opening: opening a pipe would wait for a writer.
        if not stat.S_ISREG(path.stat().st_mode):
            kind = "a folder" if path.is_dir() else "not a regular file"
            raise UnreadableFileError(f"{path} is {kind}; give a sound file")
        with path.open("rb") as file:
            start = file.read(4096)
            file.seek(0)
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the path
        if isinstance(error, UnreadableFileError):
            raise
        reason = getattr(error, "strerror", None) or error
        raise UnreadableFileError(f"cannot read {path}: {reason}; check the path") from error
    if not start:
        raise RecordingError(f"{path} is empty (0 bytes); record or copy it again")
    return digest, start


def _opened(path: Path, start: bytes) -> Any:
    import soundfile

    for offset, mark, kind in _SIGNATURES:
        if start[offset : offset + len(mark)] == mark:
            free = path.stem if path.suffix.lower() != ".wav" else f"{path.stem}-converted"
            raise RecordingError(
                f"{path} is {kind}, which cannot be read here; convert it to WAV first, for "
                f'example: ffmpeg -i "{path.name}" "{free}.wav"'
            )
    try:
        with _without_chatter() if _may_be_mp3(start) else nullcontext():
            file = soundfile.SoundFile(path)
    except (soundfile.SoundFileError, RuntimeError, TypeError, ValueError) as error:
        what = "holds text, not sound" if _is_text(start) else "holds no sound that can be read"
        reason = str(error).rpartition(": ")[2].rstrip(".")
        raise RecordingError(
            f"{path} {what} ({reason}); give a recording in WAV, FLAC, AIFF, Ogg or MP3"
        ) from error
    # The library seeks to where it is after every read that it can. A frame of MP3 leans on those
    # before it, so that a decoder that starts anew leaves a hole there.
    file.seekable = lambda: False
    return file


def _may_be_mp3(start: bytes) -> bool:
    return start[:3] == b"ID3" or (len(start) > 1 and start[0] == 0xFF and start[1] >= 0xE0)


@contextmanager
def _without_chatter() -> Iterator[None]:
    """Keep what the MP3 decoder itself writes to the terminal off it."""
    try:
        kept = os.dup(2)
    except OSError:  # started without one
        yield
        return
    try:
        with Path(os.devnull).open("wb") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


def _is_text(start: bytes) -> bool:
    try:
        text = start[:1024].decode("utf-8", errors="strict" if len(start) < 1024 else "ignore")
    except UnicodeDecodeError:
        return False
    return all(c.isprintable() or c.isspace() for c in text)


def block_length(rate_hz: int, n_channels: int) -> int:
    """Return how many samples a block holds: whole frames of `LevelTrack`."""
    frame = max(round(FRAME_S * rate_hz), 1)
    return frame * max(_BLOCK_SAMPLES // n_channels // frame, 1)


def check_format(name: str, rate_hz: int, n_channels: int) -> None:
    """Refuse rates and numbers of channels that no recorder makes.

    Raises
    ------
    RecordingError
        If the rate is not from 4 to 768 kHz or there are more than 32 channels.
    """
    if not _LOWEST_RATE_HZ <= rate_hz <= _HIGHEST_RATE_HZ:
        raise RecordingError(
            f"{name} has a sample rate of {rate_hz} Hz, need {_LOWEST_RATE_HZ} to "
            f"{_HIGHEST_RATE_HZ}; record at 44100 or 48000 Hz"
        )
    if not 1 <= n_channels <= _MOST_CHANNELS:
        raise RecordingError(
            f"{name} has {n_channels} channels, limit {_MOST_CHANNELS}; give the guitar's channel"
        )
