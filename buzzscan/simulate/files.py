"""Faults files, and takes written to disk with their truth.

Conventions
-----------
A faults file is TOML. Every key is optional; unknown keys are refused by name::

    seed = 1

    [[fault]]                 # any number of these
    kind = "fret"
    fret = 9                  # for "fret" and "rising end"
    amount_mm = 0.1           # "tuning" takes amount_cents instead
    strings = [1, 2, 3]       # left out: all strings

    [[dead_spot]]             # a resonance of the neck, at every position of its pitch
    frequency_hz = 196.0
    conductance_s_kg = 0.01   # 0.001 is hardly heard, 0.01 kills the note
    q = 25.0

    [neck]
    roughness_mm = 0.008      # scatter of all fret heights, as left by the last dressing
    body_seed = 1             # resonances of some body, which make the decay uneven
    string_loss = 1.0         # 1 fresh strings, 3 old ones

    [playing]                 # any field of `Performance`, for example
    pace_s = 0.6
    amplitude_mm = 0.5        # 0.5 is firm, 1 and more is digging in

    [recording]               # any field of `Chain`, for example
    source = "room"

Kinds of faults: "fret" (positive is high, negative is worn), "nut slot" (negative is cut too
low), "rising end" (frets rise from `fret` to the amount at the last one), "relief" and "action"
(change of both), "saddle" (the string made longer) and "tuning".

Limits
------
FLAC with 16 bits; the truth is JSON beside it.
"""

from __future__ import annotations

import dataclasses
import difflib
import json
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, cast, get_args

import numpy as np

from buzzscan.errors import GuitarError, OutputError, UnreadableFileError
from buzzscan.guitar import Guitar
from buzzscan.simulate.chain import Chain
from buzzscan.simulate.instrument import Fault, FaultKind, Resonance, SimGuitar, drawn_body
from buzzscan.simulate.performance import Performance
from buzzscan.simulate.take import Take, simulate_take

__all__ = ["Faults", "read_faults", "simulate_to_folder", "write_take"]

MAX_FILE_BYTES = 100_000
MAX_FAULT_MM = 3.0
MAX_FAULT_CENTS = 100.0
KINDS: tuple[str, ...] = get_args(FaultKind)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """What a faults file asks for.

    Parameters
    ----------
    faults, resonances
        What is wrong with the neck.
    neck
        Other fields of `SimGuitar`, with their values.
    performance, chain
        How it is played and recorded.
    seed
        Of everything random, None when the file does not say.
    """

    faults: tuple[Fault, ...] = ()
    resonances: tuple[Resonance, ...] = ()
    neck: tuple[tuple[str, float], ...] = ()
    performance: Performance = dataclasses.field(default_factory=Performance)
    chain: Chain = dataclasses.field(default_factory=Chain)
    seed: int | None = None


def _known(table: Mapping[str, Any], known: tuple[str, ...], where: str) -> None:
    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            hint = f'; did you mean "{near[0]}"?' if near else f"; known are {', '.join(known)}"
            raise GuitarError(f'{where}: unknown key "{key}"{hint}')


def _number(value: object, where: str, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise GuitarError(f"{where} is {value!r}, need a number from {low:g} to {high:g}")
    return float(value)


def _strings(value: object, where: str) -> tuple[int, ...] | None:
    if value is None:
        return None
    if not isinstance(value, list) or not value or not all(type(v) is int for v in value):
        raise GuitarError(f"{where}: strings is {value!r}, need a list of string numbers")
    return tuple(value)


def _fault(table: object, index: int) -> Fault:
    where = f"fault {index}"
    if not isinstance(table, dict):
        raise GuitarError(f"{where} is {table!r}, need a [[fault]] table")
    _known(table, ("kind", "fret", "amount_mm", "amount_cents", "strings"), where)
    kind = table.get("kind")
    if kind not in KINDS:
        raise GuitarError(f"{where}: kind is {kind!r}, need one of {', '.join(KINDS)}")
    unit = "amount_cents" if kind == "tuning" else "amount_mm"
    if unit not in table:
        raise GuitarError(f"{where}: {unit} is missing; say how large the fault is")
    limit = MAX_FAULT_CENTS if kind == "tuning" else MAX_FAULT_MM
    fret = table.get("fret")
    if fret is not None and type(fret) is not int:
        raise GuitarError(f"{where}: fret is {fret!r}, need a whole number")
    return Fault(
        kind=cast("FaultKind", kind),
        amount=_number(table[unit], f"{where}: {unit}", -limit, limit),
        fret=fret,
        strings=_strings(table.get("strings"), where),
    )


def _dead_spot(table: object, index: int) -> Resonance:
    where = f"dead_spot {index}"
    if not isinstance(table, dict) or "frequency_hz" not in table:
        raise GuitarError(f"{where} is {table!r}, need a table with frequency_hz")
    _known(table, ("frequency_hz", "conductance_s_kg", "q"), where)
    return Resonance(
        frequency_hz=_number(table["frequency_hz"], f"{where}: frequency_hz", 20.0, 5000.0),
        conductance_s_kg=_number(
            table.get("conductance_s_kg", 0.004), f"{where}: conductance_s_kg", 0.0, 1.0
        ),
        q=_number(table.get("q", 25.0), f"{where}: q", 2.0, 500.0),
    )


def _fields(kind: type[Performance | Chain], table: object, where: str) -> dict[str, Any]:
    """Return the table's values, each of the kind that its field takes."""
    if not isinstance(table, dict):
        raise GuitarError(f"{where} is {table!r}, need a table")
    _known(table, tuple(f.name for f in dataclasses.fields(kind)), where)
    return {name: _value(name, value, f"{where}: {name}") for name, value in table.items()}


def _value(name: str, value: object, where: str) -> Any:
    if name == "strings":
        return _strings(value, where)
    if name == "band_hz":
        return _band(value, where)
    if name in CHOICES:
        if value not in CHOICES[name]:
            raise GuitarError(f"{where} is {value!r}, need one of {', '.join(CHOICES[name])}")
        return value
    low, high = LIMITS.get(name, (0.0, 1.0))
    number = _number(value, where, low, high)
    if name not in WHOLE:
        return number
    if number != int(number):
        raise GuitarError(f"{where} is {value!r}, need a whole number")
    return int(number)


def _band(value: object, where: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise GuitarError(f"{where} is {value!r}, need two frequencies [low, high]")
    low, high = (_number(v, where, *BAND_LIMITS) for v in value)
    if low >= high:
        raise GuitarError(f"{where} is {value!r}, need the lower frequency first")
    return low, high


def _neck(table: object) -> tuple[tuple[str, float], ...]:
    if not isinstance(table, dict):
        raise GuitarError(f"neck is {table!r}, need a table")
    _known(table, NECK, "neck")
    return tuple((name, _value(name, value, f"neck: {name}")) for name, value in table.items())


CHOICES: dict[str, tuple[str, ...]] = {
    "order": ("along", "across"),
    "passes": ("up-down", "up"),
    "source": ("pickup", "bridge", "room"),
    "noise": ("white", "pink"),
}
WHOLE = ("first_fret", "last_fret", "sample_rate_hz", "body_seed", "roughness_seed")
NECK = (
    "roughness_mm",
    "roughness_seed",
    "body_seed",
    "string_loss",
    "end_loss_per_s",
    "contact_damping",
    "axes_deg",
    "detune_cents",
)
BAND_LIMITS = (10.0, 24000.0)
LIMITS = {
    "first_fret": (0, 36),
    "last_fret": (0, 36),
    "sample_rate_hz": (8000, 96000),
    "pace_s": (0.1, 10.0),
    "amplitude_mm": (0.01, 10.0),
    "pluck_mm": (10.0, 600.0),
    "angle_deg": (0.0, 90.0),
    "angle_sd_deg": (0.0, 45.0),
    "pick_width_mm": (0.5, 30.0),
    "release_s": (0.0, 0.005),
    "gap_s": (0.0, 2.0),
    "pickup_mm": (5.0, 400.0),
    "pickup_hz": (500.0, 15000.0),
    "pickup_q": (0.3, 10.0),
    "room_t60_s": (0.05, 5.0),
    "room_db": (-60.0, 20.0),
    "peak_dbfs": (-60.0, 0.0),
    "noise_dbfs": (-140.0, 0.0),
    "hum_dbfs": (-140.0, 0.0),
    "hum_hz": (40.0, 70.0),
    "clip_db": (0.0, 40.0),
    "agc_s": (0.02, 20.0),
    "body_seed": (0, 2**31),
    "roughness_seed": (0, 2**31),
    "string_loss": (0.1, 20.0),
    "end_loss_per_s": (0.0, 20.0),
    "contact_damping": (0.0, 5.0),
    "axes_deg": (0.0, 45.0),
    "detune_cents": (0.0, 20.0),
}
"""Smallest and largest value of each number that a faults file may set; others run 0 to 1."""


def read_faults(path: str | Path) -> Faults:
    """Return what a faults file asks for.

    Raises
    ------
    UnreadableFileError
        If it cannot be read.
    GuitarError
        If it is not TOML, or a key or a value in it is wrong; the message names it.
    """
    path = Path(path)
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise UnreadableFileError(f"cannot read {path}: {error.strerror}") from error
    if len(raw) > MAX_FILE_BYTES:
        raise GuitarError(f"{path.name} has {len(raw)} bytes, need at most {MAX_FILE_BYTES}")
    try:
        table = tomllib.loads(raw.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise GuitarError(f"{path.name} is not TOML: {error}") from error
    _known(table, ("seed", "fault", "dead_spot", "neck", "playing", "recording"), path.name)
    for name in ("fault", "dead_spot"):
        if not isinstance(table.get(name, []), list):
            raise GuitarError(f"{path.name}: {name} needs double brackets: [[{name}]]")
    seed = table.get("seed")
    return Faults(
        faults=tuple(_fault(t, i) for i, t in enumerate(table.get("fault", []), 1)),
        resonances=tuple(_dead_spot(t, i) for i, t in enumerate(table.get("dead_spot", []), 1)),
        neck=_neck(table.get("neck", {})),
        performance=Performance(**_fields(Performance, table.get("playing", {}), "playing")),
        chain=Chain(**_fields(Chain, table.get("recording", {}), "recording")),
        seed=None if seed is None else int(_number(seed, "seed", 0, 2**31)),
    )


def write_take(take: Take, path: Path) -> tuple[Path, Path]:
    """Write a take as FLAC and its truth as JSON beside it; return both paths.

    Raises
    ------
    OutputError
        If they cannot be written.
    """
    import soundfile

    truth = path.with_suffix(".json")
    rows = [_rounded(note.as_mapping()) for note in take.truth]
    text = ",\n  ".join(json.dumps(row) for row in rows)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(path, take.samples, take.sample_rate_hz, subtype="PCM_16", format="FLAC")
        truth.write_text(
            '{"format": "buzzscan-truth", "version": 1, "notes": [\n  ' + text + "\n]}\n",
            encoding="utf-8",
        )
    except (OSError, soundfile.LibsndfileError) as error:
        raise OutputError(
            f"cannot write {path.name}: {error}; make room or give another folder"
        ) from error
    return path, truth


def _rounded(row: Mapping[str, object]) -> dict[str, object]:
    return {
        key: float(f"{value:.6g}") if isinstance(value, float) else value
        for key, value in row.items()
    }


def simulate_to_folder(
    guitar: Guitar,
    faults_path: str | Path | None,
    out_dir: str | Path,
    *,
    seed: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Path, ...]:
    """Write take.flac and take.json of a guitar with the faults of a file; return the paths.

    Parameters
    ----------
    guitar
        The instrument.
    faults_path
        Faults file, or None for a neck without faults.
    out_dir
        Folder, made if missing.
    seed
        Of everything random; None takes the file's, else 0.
    progress
        Called with the fraction done.

    Raises
    ------
    GuitarError, UnreadableFileError, OutputError
        As `read_faults` and `write_take`.
    """
    asked = Faults() if faults_path is None else read_faults(faults_path)
    neck = dict(asked.neck)
    resonances = asked.resonances
    if "body_seed" in neck:
        resonances += drawn_body(np.random.default_rng(int(neck.pop("body_seed"))))
    made = SimGuitar.from_guitar(guitar, faults=asked.faults, resonances=resonances, **neck)
    chosen = seed if seed is not None else (asked.seed or 0)
    take = simulate_take(made, asked.performance, asked.chain, seed=chosen, progress=progress)
    return write_take(take, Path(out_dir) / "take.flac")
