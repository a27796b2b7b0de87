"""Faults files: what they may say, and what is written."""

import json
from dataclasses import fields
from pathlib import Path

import pytest
import soundfile

from buzzscan.errors import GuitarError, UnreadableFileError
from buzzscan.guitar import Guitar
from buzzscan.simulate import Chain, Performance, read_faults, simulate_to_folder
from buzzscan.simulate.files import CHOICES, LIMITS

RECORDINGS = Path(__file__).parents[1] / "recordings"


def test_simulated_folder_has_audio_and_truth(tmp_path: Path) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text(
        '[[fault]]\nkind = "fret"\nfret = 9\namount_mm = 0.2\n'
        '[playing]\npace_s = 0.3\nstrings = [2]\npasses = "up"\n'
    )
    audio, truth = simulate_to_folder(Guitar(frets=12), faults, tmp_path / "out")
    assert soundfile.info(audio).samplerate == 44100
    assert len(json.loads(truth.read_text())["notes"]) == 13


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[[fault]]\nkind='fret'\nfret=9\namount=1", 'fault 1: unknown key "amount"'),
        ("[[fault]]\nkind='frett'\nfret=9\namount_mm=1", "kind is 'frett', need one of"),
        ("[[fault]]\nkind='fret'\nfret=9", "amount_mm is missing"),
        ("[[fault]]\nkind='fret'\nfret=9\namount_mm=99", "need a number from -3 to 3"),
        ("fault = 3", "needs double brackets"),
        ("fautl = 3", 'did you mean "fault"'),
        ("[playing]\npace_s = 0.0", "need a number from 0.1 to 10"),
        ("[playing]\norder = 'up'", "need one of along, across"),
        ("[recording]\nband_hz = [400.0, 300.0]", "lower frequency first"),
        ("[[dead_spot]]\nq = 3.0", "need a table with frequency_hz"),
        ("seed = 'x'", "seed is 'x'"),
        ("neck = 3", "neck is 3, need a table"),
        ("[neck]\nroughnes_mm = 0.1", 'did you mean "roughness_mm"'),
        ("[neck]\nstring_loss = 0.0", "need a number from 0.1 to 20"),
        ("[playing]\nlast_fret = 3.5", "last_fret is 3.5, need a whole number"),
        ("[playing]\nstrings = []", "need a list of string numbers"),
        ("[playing]\nskip = 1.5", "need a number from 0 to 1"),
        ("[recording]\nnoise = 'brown'", "need one of white, pink"),
        ("[recording]\nsample_rate_hz = true", "need a number from 8000"),
        ("playing = 1", "playing is 1, need a table"),
        ("[[fault]]\nkind='tuning'\namount_mm=1", "amount_cents is missing"),
        ("x = [", "is not TOML"),
    ],
)
def test_a_wrong_faults_file_is_explained(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "faults.toml"
    path.write_text(text)
    with pytest.raises(GuitarError) as caught:
        read_faults(path)
    assert message in str(caught.value)


def test_a_missing_faults_file_is_explained(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFileError, match="cannot read"):
        read_faults(tmp_path / "none.toml")


def test_every_field_can_be_set_from_a_file(tmp_path: Path) -> None:
    # each field of Performance and Chain, with a value inside its range
    special = {"strings": "[1, 2]", "band_hz": "[100.0, 8000.0]", "last_fret": "5"}
    lines = []
    for table, kind in (("playing", Performance), ("recording", Chain)):
        lines.append(f"[{table}]")
        for field in fields(kind):
            low, high = LIMITS.get(field.name, (0.0, 1.0))
            value = special.get(field.name, str(low + (high - low) / 4))
            if field.name in CHOICES:
                value = f'"{CHOICES[field.name][-1]}"'
            if field.name in ("first_fret", "sample_rate_hz"):
                value = {"first_fret": "2", "sample_rate_hz": "32000"}[field.name]
            lines.append(f"{field.name} = {value}")
    path = tmp_path / "all.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    got = read_faults(path)
    assert got.performance.strings == (1, 2)
    assert got.performance.order == "across"
    assert got.chain.band_hz == (100.0, 8000.0)
    assert got.chain.noise == "pink"
    for field in fields(Performance):
        if field.name not in ("passes", "last_fret"):
            assert getattr(got.performance, field.name) != getattr(Performance(), field.name)


def test_the_example_file_is_read() -> None:
    got = read_faults(RECORDINGS / "faults-fret-9.toml")
    assert [(f.kind, f.fret, f.amount, f.strings) for f in got.faults] == [
        ("fret", 9, 0.1, (1, 2, 3))
    ]
    assert got.resonances[0].frequency_hz == 196.0
    assert dict(got.neck)["body_seed"] == 1


def test_the_neck_of_a_file_is_used(tmp_path: Path) -> None:
    playing = '[playing]\npace_s = 0.3\nstrings = [2]\nlast_fret = 0\npasses = "up"\n'
    decays = []
    for neck in ("", "[neck]\nstring_loss = 5.0\nbody_seed = 3\n"):
        path = tmp_path / "faults.toml"
        path.write_text(playing + neck)
        _, truth = simulate_to_folder(Guitar(), path, tmp_path / "out")
        decays.append(json.loads(truth.read_text())["notes"][0]["decay_db_per_s"])
    assert decays[1] > 1.1 * decays[0]


@pytest.mark.parametrize(
    ("playing", "message"),
    [
        ("strings = [7]", "string 7 is not on this guitar, need 1 to 6"),
        ("first_fret = 23", "first_fret is 23, need at most the last fret played, 22"),
        ("first_fret = 6\nlast_fret = 5", "first_fret is 6, need at most"),
    ],
)
def test_a_run_must_be_on_the_guitar(tmp_path: Path, playing: str, message: str) -> None:
    path = tmp_path / "faults.toml"
    path.write_text("[playing]\n" + playing)
    with pytest.raises(GuitarError, match=message):
        simulate_to_folder(Guitar(), path, tmp_path / "out")


def test_the_same_file_and_seed_write_the_same_bytes(tmp_path: Path) -> None:
    path = tmp_path / "faults.toml"
    path.write_text("[playing]\npace_s = 0.2\nstrings = [2]\nlast_fret = 3\nsqueak = 0.5\n")
    runs = [simulate_to_folder(Guitar(), path, tmp_path / d, seed=4) for d in "ab"]
    for a, b in zip(*runs, strict=True):
        assert a.read_bytes() == b.read_bytes()
