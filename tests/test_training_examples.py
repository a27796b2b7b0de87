"""What is heard of drawn notes stands beside what is true of them."""

from __future__ import annotations

import numpy as np
import pytest
from training.examples import columns_of, cues_of_table, goes_on_striking, rows_of_seed, table
from training.guitars import MODELS, draw

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


def test_a_string_model_can_be_asked_for() -> None:
    assert {row["model"] for row in rows_of_seed(SEED, MODELS[2])} == {MODELS[2]}
