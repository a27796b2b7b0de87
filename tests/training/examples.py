"""What is heard of many notes beside what is true of them, as a table on disk.

Run ``python -m training.examples OUT.npz --seeds 0 150`` in tests/ for the takes of those seeds
(``--necks`` for whole necks), half of them modal strings and half strings on a grid, with ``--model
waveguide`` for travelling waves, with ``--recorded SOUND...`` for real ones without buzz, each
with a JSON of its notes beside it, or with ``--elsewhere NAME SOUND...`` for those of a simulation
that is not ours, each with a JSON of its notes and, unless it is a guitar in standard tuning, a
guitar file (.toml) beside it.

Conventions
-----------
One column per cue, named as in `buzzscan.measures.contact_numbers`, and per level and figure of the
attack; levels in dB. Notes of drawn takes are as the analysis finds them: where it hears the onset
depends on the pick, and what is learnt has to bear that.

Limits
------
Notes whose string lies on a higher fret are left out: their pitch tells. So are those that the
analysis does not find, or takes for another place.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from training.guitars import MODELS, RATE_HZ, Drawn, draw
from training.necks import draw_neck

from buzzscan import scan
from buzzscan.errors import BuzzscanError
from buzzscan.guitar import Guitar, load_guitar
from buzzscan.measures.attack import Attack
from buzzscan.measures.buzz import hear_notes
from buzzscan.measures.buzz_cues import Cues
from buzzscan.measures.pitch import hear_string
from buzzscan.notes.note import Note
from buzzscan.recording import Recording, open_recording, recording_from_samples
from buzzscan.simulate import TrueNote

__all__ = [
    "Truth",
    "attack_columns",
    "columns_of",
    "cue_columns",
    "cues_of_table",
    "goes_on_striking",
    "rows_of_real_take",
    "rows_of_seed",
    "rows_of_take_elsewhere",
    "table",
]

Row = dict[str, float | str]
Heard = dict[str, float]

SAME_NOTE_S = 0.06
NOT_TOLD = ("course_s", "course_fresh_db")
CLEAN_UNTIL_S = 0.04
"""Contact that ends within the attack is the snap of the pick."""
LASTING_S, LASTING_SHARE = 0.2, 0.6
"""Contact is persistent that lasts this long, or for this share of a shorter note."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What is true of a note.

    Parameters
    ----------
    string, fret, onset_s
        Where and when it was played.
    struck
        Whether it is in persistent contact.
    until_s
        When it last touches a fret, from its onset; 0 where it touches none.
    buzz_db
        How far its sound departs from that of a free twin; NaN where that is not known.
    rings
        Whether it is the note of its own fret, and not cut short: others teach nothing.
    """

    string: int
    fret: int
    onset_s: float
    struck: bool
    until_s: float
    buzz_db: float = math.nan
    rings: bool = True


def cue_columns(cues: Cues) -> Heard:
    """Return the cues as numbers, thirds and parts counted from 0."""
    out = {}
    for name in Cues.__slots__:
        value = getattr(cues, name)
        if name in NOT_TOLD:
            continue
        if isinstance(value, tuple):
            out.update({f"{name}{i}": float(v) for i, v in enumerate(value)})
        else:
            out[name] = float(value)
    return out


def cues_of_table(data: Mapping[str, npt.NDArray[Any]]) -> list[Cues]:
    """Return the cues of each note of a table, without their course over time: it has none."""
    fields: dict[str, list[Any]] = {}
    for name in Cues.__slots__:
        parts = [data[key] for key in sorted(data) if key[:-1] == name and key[-1].isdigit()]
        if name in NOT_TOLD:
            fields[name] = [()] * len(data["take"])
        elif parts:
            fields[name] = list(zip(*(part.tolist() for part in parts), strict=True))
        else:
            fields[name] = data[name].tolist()
    return [
        Cues(**dict(zip(fields, row, strict=True))) for row in zip(*fields.values(), strict=True)
    ]


def _heard(
    recording: Recording, guitar: Guitar, notes: Sequence[Note]
) -> Iterator[tuple[Note, Heard]]:
    """Yield every note that is long enough with what is heard of it, as the analysis hears it."""
    rate = recording.sample_rate_hz
    fits = []
    for note in notes:
        string = hear_string(
            recording.read(round(note.onset_s * rate), round(note.end_s * rate)),
            sample_rate_hz=rate,
            placed_hz=guitar.pitch_hz(note.string, note.fret),
            heard_hz=note.pitch_hz,
        )
        fits.append(None if string is None else string.fit)
    for note, heard in zip(notes, hear_notes([recording], guitar, notes, fits), strict=True):
        if heard is not None:
            yield note, cue_columns(heard.cues) | attack_columns(heard.attack)


def _note(i: int, place: tuple[int, int], span_s: tuple[float, float], pitch: float) -> Note:
    return Note(
        id=i,
        recording=0,
        string=place[0],
        fret=place[1],
        direction="up",
        onset_s=max(span_s[0], 0.0),
        end_s=span_s[1],
        pitch_hz=pitch,
        placed=1.0,
        judged=True,
        reason="",
    )


def goes_on_striking(true: TrueNote) -> bool:
    """Whether a note is in persistent contact."""
    length_s = true.end_s - true.onset_s
    return true.contact and true.contact_until_s > min(LASTING_S, LASTING_SHARE * length_s)


def attack_columns(attack: Attack) -> Heard:
    """Return what is heard of an attack as numbers, levels and figures counted from 0."""
    return {
        **{f"level{i:02d}": v for i, v in enumerate(attack.levels_db.tolist())},
        **{f"figure{i:03d}": v for i, v in enumerate(attack.figures.tolist())},
        "first_partial_hz": attack.first_partial_hz,
    }


def columns_of(data: Mapping[str, npt.NDArray[Any]], name: str) -> npt.NDArray[np.float64]:
    """Return the columns of a table that bear a name and a number, shape (notes, columns)."""
    named = [data[key] for key in sorted(data) if key.startswith(name)]
    return np.stack(named, axis=1).astype(np.float64)


def rows_of_seed(seed: int, model: str | None = None, *, necks: bool = False) -> list[Row]:
    """Return the notes of the take of a seed; none where the analysis refuses it.

    Parameters
    ----------
    model
        String model, of `MODELS`; None draws the first two in turn.
    necks
        Whether whole necks are played.
    """
    return _rows_of_take(draw_neck(seed, model) if necks else draw(seed, model), seed)


def _rows_of_take(drawn: Drawn, take: int) -> list[Row]:
    recording = recording_from_samples(drawn.samples, RATE_HZ)
    truth = [
        Truth(
            string=true.string,
            fret=true.fret,
            onset_s=true.onset_s,
            struck=goes_on_striking(true),
            until_s=true.contact_until_s,
            buzz_db=np.nan if true.buzz_db is None else true.buzz_db,
            rings=true.sounding_fret == true.fret and "cut" not in true.marks,
        )
        for true in drawn.truth
    ]
    known = {"take": take, "kind": drawn.kind, "model": drawn.model}
    return _rows(recording, drawn.guitar, truth, known)


def _rows(
    recording: Recording, guitar: Guitar, truth: Sequence[Truth], known: Mapping[str, float | str]
) -> list[Row]:
    """Return the notes that the analysis finds where one rings, each with `known`.

    There are none where it refuses the take.
    """
    begins = np.array([true.onset_s for true in truth])
    try:
        measured = {note.note.id: note for note in scan(recording, guitar).notes}
    except BuzzscanError as error:
        print(f"take {known['take']}: {error}")
        return []
    rows: list[Row] = []
    for place, heard in _heard(recording, guitar, [n.note for n in measured.values()]):
        note = measured[place.id]
        true = truth[int(np.argmin(np.abs(begins - place.onset_s)))]
        same = (true.string, true.fret) == (place.string, place.fret)
        if not same or abs(true.onset_s - place.onset_s) > SAME_NOTE_S or note.contact is None:
            continue
        if not true.rings:
            continue
        rows.append(
            {
                **heard,
                **known,
                "contact": note.contact,
                "string": true.string,
                "fret": true.fret,
                "clean": float(true.until_s < CLEAN_UNTIL_S),
                "struck": float(true.struck),
                "buzz_db": true.buzz_db,
                "until_s": true.until_s,
            }
        )
    return rows


def rows_of_take_elsewhere(sound: Path, take: int, model: str) -> list[Row]:
    """Return the notes of a take of another simulation, `sound` beside a JSON of its notes.

    Its notes have the keys of `Truth`; those that may be left out are its defaults.
    """
    listed = json.loads(sound.with_suffix(".json").read_text())["notes"]
    instrument = sound.with_suffix(".toml")
    guitar = load_guitar(instrument) if instrument.exists() else Guitar()
    known = {"take": take, "kind": "elsewhere", "model": model}
    return _rows(open_recording(sound), guitar, [Truth(**note) for note in listed], known)


def rows_of_real_take(sound: Path, take: int) -> list[Row]:
    """Return the notes of a recorded take without buzz, `sound` beside a JSON of its notes."""
    listed = json.loads(sound.with_suffix(".json").read_text())["notes"]
    guitar = Guitar(frets=24)
    clean = [n for n in listed if not n["planted"]]
    notes = []
    for i, n in enumerate(clean):
        place = (n["string"], n["fret"]) if n["string"] else _lowest_place(guitar, n["midi"])
        pitch = guitar.pitch_hz(*place)
        notes.append(_note(i, place, (n["onset_s"], n["end_s"]), pitch))
    recording = open_recording(sound)
    rows: list[Row] = []
    for note, heard in _heard(recording, guitar, notes):
        rows.append(
            {
                **heard,
                "contact": 0.0,
                "take": take,
                "string": note.string,
                "fret": note.fret,
                "kind": "real",
                "model": "real",
                "clean": 1.0,
                "struck": 0.0,
                "buzz_db": np.nan,
                "until_s": 0.0,
            }
        )
    return rows


def _lowest_place(guitar: Guitar, midi: int) -> tuple[int, int]:
    """Return the place of a pitch nearest the nut, thickest string first."""
    frets = [(s, int(midi - guitar.midi(s, 0))) for s in reversed(guitar.strings)]
    return min((f for f in frets if f[1] >= 0), key=lambda place: place[1])


def table(rows: Sequence[Row]) -> dict[str, npt.NDArray[np.generic]]:
    """Return the rows as columns, numbers as float32."""
    names = {k: isinstance(v, str) for k, v in rows[0].items()}
    return {
        k: np.array([r[k] for r in rows], dtype=str if text else np.float32)
        for k, text in names.items()
    }


def main() -> None:
    """Write a table of the takes of some seeds, or of recorded ones."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seeds", nargs=2, type=int, default=(0, 0), metavar=("FIRST", "LAST"))
    parser.add_argument("--model", choices=MODELS)
    parser.add_argument("--necks", action="store_true")
    parser.add_argument("--recorded", nargs="*", type=Path, default=(), metavar="SOUND")
    parser.add_argument("--elsewhere", nargs="+", default=("",), metavar=("NAME", "SOUND"))
    asked = parser.parse_args()
    rows: list[Row] = []
    for seed in range(*asked.seeds):
        rows += rows_of_seed(seed, asked.model, necks=asked.necks)
    for i, sound in enumerate(asked.recorded):
        rows += rows_of_real_take(sound, -1 - i)
    name, *sounds = asked.elsewhere
    for i, sound in enumerate(sounds):
        rows += rows_of_take_elsewhere(Path(sound), i, name)
    np.savez_compressed(asked.out, **table(rows))  # type: ignore[arg-type]
    print(f"{len(rows)} notes written to {asked.out}")


if __name__ == "__main__":
    main()
