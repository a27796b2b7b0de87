"""Opens recordings: decodes once, judges the quality, keeps the samples at hand.

Conventions
-----------
As `buzzscan.recording`.

Limits
------
A recording is read from its first to its last sample once; memory does not grow with it
beyond some bytes per 10 ms.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.errors import RecordingError
from buzzscan.recording.channels import choose_mix
from buzzscan.recording.decoding import SoundFile, block_length, check_format
from buzzscan.recording.levels import FRAME_S, Levels, LevelTrack, mixes_of
from buzzscan.recording.mending import Mender
from buzzscan.recording.quality import Heard, judge_quality
from buzzscan.recording.storing import Spool, SpoolSource
from buzzscan.recording.take import Recording, RecordingWarning, Samples
from buzzscan.recording.thinning import Thinner, thinning_factor

__all__ = ["open_recording", "recording_from_samples"]

SHORTEST_S = 0.3
"""A single note that can be measured."""
_STEP_16_BIT = 2.0**-15
_LEAST_OFFSET = 1e-3
"""Direct current under this (−60 dB) is left as it is, and samples as the file has them."""


def open_recording(path: str | os.PathLike[str]) -> Recording:
    """Return a recording that is ready to be listened to.

    Parameters
    ----------
    path
        WAV, AIFF, FLAC, Ogg or MP3 file at 4 to 768 kHz with up to 32 channels.

    Returns
    -------
    Recording
        With a warning for everything that spoils measures.

    Raises
    ------
    UnreadableFileError
        If there is no such file or it may not be read.
    RecordingError
        If it holds no sound, or none that could be judged: silent, shorter than 0.3 s, broken.
    OutputError
        If a long take finds no room in the temporary folder.
    """
    with SoundFile(path) as file:
        decoded = _decode(
            file.blocks(), file.rate_hz, file.n_channels, step=file.step, name=str(file.path)
        )
    broken = (_broken_off(file),) if file.trouble else ()
    return _judged(decoded, file.path.name, file.sha256, str(file.path), broken)


def recording_from_samples(
    samples: npt.ArrayLike, sample_rate_hz: int, *, name: str = "recording"
) -> Recording:
    """Return a recording of samples in memory.

    Parameters
    ----------
    samples
        Shape (n,) or (n, channels), floating point, full scale ±1.
    sample_rate_hz
        Their rate, 4 to 768 kHz.
    name
        What to call it.

    Raises
    ------
    RecordingError
        If the samples do not make a recording that could be judged.
    """
    array = np.asarray(samples)
    if array.ndim not in (1, 2) or not np.issubdtype(array.dtype, np.floating):
        raise RecordingError(
            f"samples of shape {array.shape} and type {array.dtype}, need floating point of "
            "shape (n,) or (n, channels); divide whole numbers by their full scale"
        )
    if array.ndim == 1:
        array = array[:, None]
    n_channels = array.shape[1]
    check_format(name, sample_rate_hz, n_channels)
    with np.errstate(over="ignore"):  # too large for float32 becomes infinite and is named so
        array = np.ascontiguousarray(array, np.float32)
    digest = hashlib.sha256(f"{sample_rate_hz} {n_channels} ".encode() + array.tobytes())
    length = block_length(sample_rate_hz, n_channels)
    blocks = (array[i : i + length] for i in range(0, len(array), length))
    decoded = _decode(blocks, sample_rate_hz, n_channels, step=_STEP_16_BIT, name=name)
    return _judged(decoded, name, digest.hexdigest(), None, ())


@dataclass(frozen=True, slots=True)
class _Decoded:
    """Everything that one pass over a recording gives."""

    where: str
    levels: Levels
    spool: Spool
    rate_hz: int
    file_rate_hz: int
    n_mended: int
    step: float


def _decode(
    blocks: Iterator[Samples], rate_hz: int, n_channels: int, *, step: float, name: str
) -> _Decoded:
    factor = thinning_factor(rate_hz)
    thinner = Thinner(factor, n_channels) if factor > 1 else None
    track = LevelTrack(rate_hz, n_channels, step=step)
    mender = Mender()
    spool = Spool(n_channels)
    n_read = 0
    for block in blocks:
        n_read += len(block)
        mended = mender.mend(block)
        track.add(mended)
        spool.write(thinner.add(mended) if thinner else mended)
    if thinner:
        spool.write(thinner.end())
    if n_read < SHORTEST_S * rate_hz:
        raise RecordingError(
            f"{name} holds {n_read / rate_hz:.2f} s of sound, need at least {SHORTEST_S} s; "
            "record the whole run"
        )
    mender.check(name, n_read)
    return _Decoded(
        name, track.levels(), spool, round(rate_hz / factor), rate_hz, mender.n_mended, step
    )


def _judged(
    decoded: _Decoded,
    name: str,
    sha256: str,
    path: str | None,
    broken: tuple[RecordingWarning, ...],
) -> Recording:
    """Return the recording with the channel chosen and the quality judged."""
    levels, spool = decoded.levels, decoded.spool
    mix, warnings = choose_mix(levels, spool.n_channels)
    offset = float(levels.mean[mix])
    if abs(offset) < _LEAST_OFFSET:
        offset = 0.0
    source = SpoolSource(spool, mixes_of(spool.n_channels)[mix], offset)
    heard = Heard(
        where=decoded.where,
        source=source,
        n_samples=spool.n_samples,
        rate_hz=decoded.rate_hz,
        file_rate_hz=decoded.file_rate_hz,
        power=_frame_power(source, spool.n_samples, decoded.rate_hz)
        if offset
        else levels.power[:, mix],
        peak=float(levels.peak[mix]),
        offset=offset,
        near=levels.near,
        flat=levels.flat,
        n_mended=decoded.n_mended,
        step=decoded.step,
    )
    quality = judge_quality(heard)
    return Recording(
        name=name,
        sha256=sha256,
        sample_rate_hz=decoded.rate_hz,
        file_rate_hz=decoded.file_rate_hz,
        n_samples=spool.n_samples,
        peak_dbfs=quality.peak_dbfs,
        noise_dbfs=quality.noise_dbfs,
        warnings=(*broken, *warnings, *quality.warnings),
        path=path,
        source=heard.source,
    )


def _frame_power(source: SpoolSource, n_samples: int, rate_hz: int) -> Samples:
    """Return the mean square of each 10 ms without the direct current."""
    frame = round(FRAME_S * rate_hz)
    length = 1000 * frame
    power = [np.zeros(0, np.float32)]
    for start in range(0, n_samples - frame + 1, length):
        block = source.read(start, min(start + length, n_samples))
        framed = block[: len(block) // frame * frame].reshape(-1, frame)
        power.append((framed**2).mean(axis=1))
    return np.concatenate(power)


def _broken_off(file: SoundFile) -> RecordingWarning:
    return RecordingWarning(
        code="broken-off",
        message=f"the file is not whole: {file.trouble}; what is there was judged, notes behind it "
        "are missing. Copy or export it again",
    )
