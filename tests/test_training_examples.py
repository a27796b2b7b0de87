"""What is heard of drawn notes stands beside what is true of them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from training.examples import (
    columns_of,
    cues_of_table,
    goes_on_striking,
    rows_of_seed,
    rows_of_take_elsewhere,
    table,
)
from training.guitars import MODELS, RATE_HZ, draw

from buzzscan.measures.attack import EDGES_HZ, SPANS_S
from buzzscan.measures.continuation import N_FIGURES

SEED = 4


@pytest.fixture(scope="module")
def data() -> dict[str, np.ndarray]:
    return table(rows_of_seed(SEED))


def test_a_drawn_take_gives_a_row_per_note(data: dict[str, np.ndarray]) -> None:
    truth = draw(SEED).truth
    assert 20 < data["take"].size <= len(truth)
    assert set(data["model"]) == {"modes"}
    assert columns_of(data, "level").shape[1] == len(SPANS_S) * len(EDGES_HZ)
    assert columns_of(data, "figure").shape[1] == N_FIGURES
    struck = {(t.string, t.fret) for t in truth if goes_on_striking(t)}
    rows = zip(data["string"], data["fret"], data["struck"], strict=True)
    assert all((s, f) in struck for s, f, is_struck in rows if is_struck)


def test_cues_come_back_as_they_are_heard(data: dict[str, np.ndarray]) -> None:
    cues = cues_of_table(data)
    assert len(cues) == data["take"].size
    assert cues[3].fresh_db == tuple(float(data[f"fresh_db{i}"][3]) for i in range(3))


def test_a_take_of_another_simulation_teaches_what_its_file_says(
    data: dict[str, np.ndarray], tmp_path: Path
) -> None:
    drawn = draw(SEED)
    sound = tmp_path / "take.wav"
    soundfile.write(sound, drawn.samples, RATE_HZ, subtype="FLOAT")
    tuning = ", ".join(f'"{name}"' for name in drawn.guitar.tuning)
    sound.with_suffix(".toml").write_text(f"tuning = [{tuning}]\nfrets = {drawn.guitar.frets}\n")
    notes = [
        {
            "string": true.string,
            "fret": true.fret,
            "onset_s": true.onset_s,
            "struck": goes_on_striking(true),
            "until_s": true.contact_until_s,
            "rings": true.sounding_fret == true.fret and "cut" not in true.marks,
        }
        for true in drawn.truth
    ]
    sound.with_suffix(".json").write_text(json.dumps({"notes": notes}))
    rows = table(rows_of_take_elsewhere(sound, 7, "another"))
    assert set(rows["model"]) == {"another"}
    assert set(rows["take"]) == {7}
    assert not np.isfinite(rows["buzz_db"]).any()
    for name in set(data) - {"model", "take", "kind", "buzz_db"}:
        np.testing.assert_array_equal(rows[name], data[name], err_msg=name)


def test_a_string_model_can_be_asked_for() -> None:
    assert {row["model"] for row in rows_of_seed(SEED, MODELS[2])} == {MODELS[2]}
