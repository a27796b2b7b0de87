"""The demo recordings are what the demo's command writes."""

import hashlib
import json
from pathlib import Path

import numpy as np
import soundfile

from buzzscan.guitar import load_guitar
from buzzscan.simulate import demo, write_take

RECORDINGS = Path(__file__).parents[1] / "recordings"
MOST_BYTES = 12_000_000
TAIL_S = 0.05


def test_demo_recordings_are_what_the_demo_makes(tmp_path: Path) -> None:
    guitar = load_guitar(RECORDINGS / "guitar.toml")
    for name, dressed in (("before", False), ("after", True)):
        stored, rate = soundfile.read(RECORDINGS / f"{name}.flac", dtype="float64")
        take = demo.demo_take(guitar, dressed=dressed)
        assert rate == take.sample_rate_hz
        assert stored.size == take.samples.size
        wrong = np.abs(stored - take.samples) > 2 / 32768
        # byte for byte on one machine; elsewhere another numerical library may round a last bit
        # otherwise, which only a string that rattles makes larger: such notes are 4 % of the take
        assert wrong.mean() < 0.05
        rattled = False
        for note in take.truth:
            if not note.contact:
                # the note before is stopped, and dies away within this
                start_s = note.onset_s + (TAIL_S if rattled else 0.0)
                part = slice(int(start_s * rate), int(note.end_s * rate))
                assert not wrong[part].any(), (note.string, note.fret)
            rattled = note.contact
        written, truth = write_take(take, tmp_path / f"{name}.flac")
        again = write_take(take, tmp_path / "again" / f"{name}.flac")
        assert _sha256(written) == _sha256(again[0])
        kept = json.loads((RECORDINGS / f"{name}.json").read_text(encoding="utf-8"))
        assert len(kept["notes"]) == len(json.loads(truth.read_text(encoding="utf-8"))["notes"])


def test_the_demo_shows_one_high_fret_before_and_none_after() -> None:
    kept = {
        name: json.loads((RECORDINGS / f"{name}.json").read_text(encoding="utf-8"))["notes"]
        for name in ("before", "after")
    }
    struck = {note["struck_frets"][0] for note in kept["before"] if note["contact"]}
    assert struck == {demo.HIGH_FRET}
    assert {n["string"] for n in kept["before"] if n["contact"]} == set(demo.HIGH_UNDER)
    assert not any(note["contact"] for note in kept["after"])


def test_the_demo_recordings_stay_small() -> None:
    assert sum(path.stat().st_size for path in RECORDINGS.iterdir()) < MOST_BYTES


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
