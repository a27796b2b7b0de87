"""What is fitted to struck notes is what the analysis adds, and it ranks them better."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import spearmanr
from test_measures_contact import CLEAN, FIGURES, STRUCK
from training.examples import cue_columns, cues_of_table
from training.fit import read_tables
from training.fit_energy import Struck, fit_trees, held_out, main, struck_notes

from buzzscan.measures import buzz_energy
from buzzscan.measures.buzz_cues import Cues
from buzzscan.measures.buzz_energy import buzz_levels_db
from buzzscan.measures.trees import Trees

TAKES, NOTES_PER_TAKE, EVERY = 24, 30, 5
SLOPE_DB = 6.0
"""What true buzz passes the sum of energies by, per octave of the first partial, in this table."""
SCATTER_DB = 4.0


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return invented notes whose buzz is fainter in truth the lower they are."""
    rng = np.random.default_rng(3)
    n = TAKES * NOTES_PER_TAKE
    struck = np.arange(n) % EVERY == 0
    cues = [cue_columns(STRUCK if s else CLEAN) for s in struck]
    columns = {name: np.array([c[name] for c in cues]) for name in cues[0]}
    figures = np.array([FIGURES[id(STRUCK if s else CLEAN)] for s in struck])
    columns |= {f"figure{i:03d}": column for i, column in enumerate(figures.T)}
    spread = rng.normal(0.0, SCATTER_DB, n)
    for part in range(4):
        columns[f"part_db{part}"] += spread
    octaves = rng.uniform(-1.5, 1.5, n)
    columns["first_partial_hz"] = 250.0 * 2.0**octaves
    columns |= {
        "take": np.repeat(np.arange(TAKES), NOTES_PER_TAKE),
        "string": np.tile(np.repeat((1, 2), NOTES_PER_TAKE // 2), TAKES),
        "fret": np.tile(np.arange(NOTES_PER_TAKE // 2), 2 * TAKES),
        "struck": struck.astype(float),
        "kind": np.repeat("plain", n),
        "model": np.where(np.arange(n) < n // 2, "modes", "grid"),
        "buzz_db": np.where(struck, -20.0 + spread + SLOPE_DB * octaves, np.nan),
    }
    path = tmp_path_factory.mktemp("tables") / "one.npz"
    np.savez(path, **columns)  # type: ignore[arg-type]
    return path


@pytest.fixture(scope="module")
def notes(table: Path) -> Struck:
    return struck_notes(read_tables([table]))


def test_cues_come_back_from_a_table() -> None:
    columns = {k: np.array([v]) for k, v in cue_columns(STRUCK).items()}
    cues: Cues = cues_of_table({**columns, "take": np.array([0])})[0]
    assert cue_columns(cues) == cue_columns(STRUCK)
    assert cues.course_s == ()


def test_only_struck_notes_are_learnt_from(notes: Struck) -> None:
    assert notes.true_db.size == TAKES * NOTES_PER_TAKE // EVERY
    assert np.all(np.isfinite(notes.columns))
    # nobody doubts these
    np.testing.assert_allclose(notes.doubt_db, 0.0)


def test_takes_held_out_are_ranked_better(notes: Struck) -> None:
    before = spearmanr(notes.plain_db, notes.true_db)[0]
    after = spearmanr(notes.plain_db + held_out(notes), notes.true_db)[0]
    assert before < 0.9
    assert after > before + 0.05


def test_the_analysis_adds_what_was_fitted(
    table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, notes: Struck
) -> None:
    path = tmp_path / "numbers.py"
    main([str(table), "--write", str(path)])
    written = runpy.run_path(str(path))
    trees = written["TREES"]
    assert isinstance(trees, Trees)
    for name in ("TREES", "LEAST_DB", "MOST_DB"):
        monkeypatch.setattr(buzz_energy, name, written[name])
    data = read_tables([table])
    rows = np.flatnonzero(data["struck"] > 0.0)
    free = notes.columns[:, 4:8]
    levels = buzz_levels_db(
        [cues_of_table(data)[i] for i in rows],
        contact=np.ones(rows.size),
        free_db=free,
        rests=np.zeros(rows.size, np.bool_),
        tops_hz=(8000.0,),
    )[:, 0]
    learnt = fit_trees(notes, np.ones(rows.size, np.bool_)).predict(notes.columns)
    assert np.ptp(learnt) > SLOPE_DB
    within = np.clip(learnt, written["LEAST_DB"], written["MOST_DB"])
    miss = np.abs(levels - notes.plain_db - within)
    # a row that lies on a bar may go either way where the bar is written with three places
    assert np.mean(miss < 0.05) > 0.9


def test_model_and_kind_are_reported_each(table: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main([str(table), "--unseen", str(table)])
    lines = [line.split()[0] for line in capsys.readouterr().out.splitlines()]
    assert lines == ["takes", "all", "grid", "modes", "plain"] * 2
