"""What is fitted to attacks is what the analysis tells touches by."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest
from training import fit, fit_attack
from training.fit import read_tables
from training.fit_attack import attacks_of, held_out, main

from buzzscan.measures.attack import EDGES_HZ, SPANS_S
from buzzscan.measures.continuation import N_FIGURES
from buzzscan.measures.trees import Trees

TAKES, STRINGS, FRETS, EVERY = 12, 2, 20, 7
BRIGHTER_DB = 6.0


@pytest.fixture(autouse=True)
def _small_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fit what a few hundred notes need, as seldom as takes can be held out."""
    monkeypatch.setattr(fit_attack, "TREES", 30)
    monkeypatch.setattr(fit, "FOLDS", 2)


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return invented notes, some brighter from their third band on."""
    rng = np.random.default_rng(3)
    n = TAKES * STRINGS * FRETS
    touched = np.arange(n) % EVERY == 0
    columns: dict[str, object] = {}
    for i in range(len(SPANS_S) * len(EDGES_HZ)):
        level = -30.0 + rng.normal(0.0, 1.5, n)
        columns[f"level{i:02d}"] = (
            level + np.where(i % len(EDGES_HZ) >= 3, touched, 0) * BRIGHTER_DB
        )
    columns |= {f"figure{i:03d}": rng.normal(-10.0, 3.0, n) for i in range(N_FIGURES)}
    columns |= {
        "first_partial_hz": np.tile(110.0 * 2.0 ** (np.arange(FRETS) / 12.0), STRINGS * TAKES),
        "take": np.repeat(np.arange(TAKES), STRINGS * FRETS),
        "string": np.tile(np.repeat((1, 2), FRETS), TAKES),
        "fret": np.tile(np.arange(FRETS), STRINGS * TAKES),
        "contact": np.zeros(n),
        "until_s": np.where(touched, 0.02, 0.0),
        "struck": np.zeros(n),
        "kind": np.repeat("plain", n),
        "model": np.where(np.arange(n) < n // 2, "modes", "grid"),
    }
    path = tmp_path_factory.mktemp("tables") / "one.npz"
    np.savez(path, **columns)  # type: ignore[arg-type]
    return path


def test_touches_of_takes_held_out_are_told(table: Path) -> None:
    attacks = attacks_of(read_tables([table]))
    odds = held_out(attacks)
    assert attacks.take.size == TAKES * STRINGS * FRETS
    found = odds[attacks.touched] > np.quantile(odds[attacks.free], 0.97)
    assert float(np.mean(found)) > 0.9


def test_the_analysis_reads_what_was_fitted(table: Path, tmp_path: Path) -> None:
    path = tmp_path / "numbers.py"
    main([str(table), "--write", str(path)])
    trees = runpy.run_path(str(path))["TREES"]
    assert isinstance(trees, Trees)
    attacks = attacks_of(read_tables([table]))
    sums = trees.sums(attacks.columns)
    assert float(np.mean(sums[attacks.touched] > 0.0)) > 0.95
    assert float(np.mean(sums[attacks.free] < 0.0)) > 0.95


def test_model_and_kind_are_reported_each(table: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main([str(table), "--unseen", str(table)])
    lines = [line.split()[0] for line in capsys.readouterr().out.splitlines()]
    assert lines == ["takes", "all", "grid", "modes", "plain"] * 2
