"""Judged necks made by hand, in pairs that can be compared.

Two passes of every position; noise alone before the first note, at a level of choice.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from buzzscan.comparison import Comparison
from buzzscan.errors import RecordingError
from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import Bars, Buzz, Finding, FindingKind, Position
from buzzscan.notes.note import Note
from buzzscan.recording import Recording
from buzzscan.scanning import Scan

RATE_HZ = 16000
FIRST_ONSET_S = 1.2
GUITAR = Guitar(tuning=("D3", "G3", "B3", "E4"), frets=12, scale_mm=647.7, name="Walnut offset")
CLEAN_DB, BUZZ_DB, SLIGHT_DB = -60.0, -25.0, -40.0
LEVELS: dict[Buzz, float] = {
    "clean": CLEAN_DB,
    "slight": SLIGHT_DB,
    "buzz": BUZZ_DB,
    "choked": -10.0,
}
HIGH_FRET: dict[tuple[int, int], Buzz] = {(s, f): "buzz" for s in (1, 2, 3) for f in (6, 7, 8)}
SLIGHT: dict[tuple[int, int], Buzz] = {(4, f): "slight" for f in range(1, 8)}


@dataclasses.dataclass
class Noise:
    """Noise alone, or nothing where the sound file is gone."""

    samples: npt.NDArray[np.float32] | None

    def read(self, start: int, stop: int) -> npt.NDArray[np.float32]:
        """Return a stretch of the noise."""
        if self.samples is None:
            raise RecordingError("the sound of this scan cannot be played")
        return self.samples[start:stop]


def made(
    words: Mapping[tuple[int, int], Buzz],
    *,
    guitar: Guitar = GUITAR,
    level_dbfs: float = -12.0,
    noise_dbfs: float | None = -70.0,
    between_dbfs: float | None = None,
    spread_db: float = 1.0,
    contact: Mapping[tuple[int, int], float] | None = None,
    buzz_db: Mapping[tuple[int, int], float] | None = None,
    findings: tuple[Finding, ...] = (),
    seed: int = 1,
    **changes: Any,
) -> Scan:
    """Return a judged neck with these words, clean elsewhere; two passes of every position."""
    noise = None
    if noise_dbfs is not None:
        rng = np.random.default_rng(seed)
        noise = rng.normal(size=2 * RATE_HZ) * 10 ** (noise_dbfs / 20)
    recording = Recording(
        name="take.wav",
        sha256=f"{seed:064d}",
        sample_rate_hz=RATE_HZ,
        file_rate_hz=RATE_HZ,
        n_samples=2 * RATE_HZ,
        peak_dbfs=-3.0,
        noise_dbfs=between_dbfs if between_dbfs is not None else noise_dbfs or -70.0,
        warnings=(),
        path=None,
        source=Noise(None if noise is None else noise.astype(np.float32)),
    )
    notes: list[MeasuredNote] = []
    positions = []
    for string in guitar.strings:
        for fret in range(guitar.frets + 1):
            word = words.get((string, fret), "clean")
            sure = (contact or {}).get((string, fret), 0.02 if word == "clean" else 0.97)
            level = (buzz_db or {}).get((string, fret), LEVELS[word])
            ids = (len(notes) + 1, len(notes) + 2)
            for number, way in zip(ids, ("up", "down"), strict=True):
                note = Note(
                    id=number,
                    recording=0,
                    string=string,
                    fret=fret,
                    direction=way,  # type: ignore[arg-type]
                    onset_s=FIRST_ONSET_S + 0.5 * number,
                    end_s=FIRST_ONSET_S + 0.5 * number + 0.45,
                    pitch_hz=None,
                    placed=1.0,
                    judged=True,
                    reason="",
                )
                values: dict[str, Any] = {
                    f.name: None for f in dataclasses.fields(MeasuredNote)
                } | {"withheld": (), "judged": True, "reason": "", "contact": sure}
                values["buzz_db"] = level + (spread_db if way == "up" else -spread_db)
                notes.append(MeasuredNote(**values | {"note": note, "attack_dbfs": level_dbfs}))
            measured = dict.fromkeys(
                f.name for f in dataclasses.fields(Position) if f.default is dataclasses.MISSING
            )
            positions.append(
                Position(
                    **measured
                    | {
                        "string": string,
                        "fret": fret,
                        "notes": ids,
                        "buzz": word,
                        "buzz_db": level,
                        "buzz_spread_db": spread_db,
                        "contact": sure,
                        "cents": 1.0,
                        "t60_s": 5.0,
                        "reason": "",
                    }
                )
            )
    scan = Scan(
        recordings=(recording,),
        guitar=guitar,
        tuning_found=False,
        offset_cents=0.0,
        remarks=(),
        bars=Bars(),
        notes=tuple(notes),
        positions=tuple(positions),
        findings=findings,
    )
    return dataclasses.replace(scan, **changes)


def finding(
    scan: Scan, kind: FindingKind = "high fret", *, strings: tuple[int, ...], fret: int
) -> Finding:
    """Return a finding whose evidence is the buzzing notes of its strings up to its fret."""
    ids = tuple(
        i
        for p in scan.positions
        if p.string in strings and p.fret <= fret and (p.buzz != "clean" or kind == "dead spot")
        for i in p.notes
    )
    return Finding(
        kind=kind,
        strings=strings,
        frets=(fret,),
        confidence=0.9,
        height_mm=None,
        height_low_mm=None,
        height_high_mm=None,
        summary="",
        next_step="",
        notes=ids,
    )


def with_high_fret(scan: Scan, strings: tuple[int, ...] = (1, 2, 3)) -> Scan:
    return dataclasses.replace(scan, findings=(finding(scan, strings=strings, fret=9),))


def before_scan(**options: Any) -> Scan:
    return with_high_fret(made(HIGH_FRET | SLIGHT, **options))


def after_scan(words: Mapping[tuple[int, int], Buzz] = SLIGHT, **options: Any) -> Scan:
    return made(words, **{"seed": 2, **options})


def changes(comparison: Comparison) -> Counter[str]:
    return Counter(p.change for p in comparison.positions)


def change_at(comparison: Comparison, string: int, fret: int) -> str:
    return next(p.change for p in comparison.positions if (p.string, p.fret) == (string, fret))
