"""What is fitted is what is written, and what is written is what the analysis computes."""

from __future__ import annotations

import runpy
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from training.fit import (
    ELSEWHERE_WEIGHT,
    REAL_NOTES,
    RUN_WEIGHT,
    STRUCK_WEIGHT,
    Model,
    Notes,
    fit_model,
    held_out,
    load,
    probabilities,
    weights,
    write_numbers,
)
from training.tree_text import baseline, tree_lines

from buzzscan.measures import contact
from buzzscan.measures.buzz_cues import Cues
from buzzscan.measures.contact_numbers import ALONE, COMPARED, Range
from buzzscan.measures.continuation import N_FIGURES
from buzzscan.measures.trees import read_trees

NOTES_PER_TAKE, TAKES = 60, 8
STRUCK_SHARE, SHIFT_DB = 0.2, 12.0


@pytest.fixture(scope="module", autouse=True)
def _fewer_trees() -> Iterator[None]:
    """Fit fewer trees: what is invented here is told by them as well, and the checks are sooner."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("training.fit.TREES", 40)
        yield


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a table of invented notes: struck ones have every cue of fresh power raised."""
    rng = np.random.default_rng(5)
    n = NOTES_PER_TAKE * TAKES
    struck = rng.random(n) < STRUCK_SHARE
    columns: dict[str, np.ndarray] = {}
    for r in (*COMPARED, *ALONE):
        name = r.cue if r.third is None else f"{r.cue}{r.third}"
        middle, width = 0.5 * (r.low + r.high), 0.1 * (r.high - r.low)
        value = rng.normal(middle, width, n) + SHIFT_DB * struck * (not r.logarithm)
        columns[name] = np.exp(value) if r.logarithm else value
    columns |= {f"figure{i:03d}": rng.normal(-15.0, 4.0, n) for i in range(N_FIGURES)}
    columns |= {
        "take": np.repeat(np.arange(TAKES), NOTES_PER_TAKE),
        "string": np.tile(np.repeat((1, 2), NOTES_PER_TAKE // 2), TAKES),
        "fret": np.tile(np.arange(NOTES_PER_TAKE // 2), 2 * TAKES) % 23,
        "clean": ~struck,
        "struck": struck,
        "kind": np.repeat("plain", n),
        "model": np.repeat("modes", n),
    }
    path = tmp_path_factory.mktemp("tables") / "one.npz"
    np.savez(path, **columns)  # type: ignore[arg-type]
    return path


@pytest.fixture(scope="module")
def fitted(table: Path) -> tuple[Notes, tuple[Range, ...], Model]:
    notes, ranges = load([table])
    return notes, ranges, fit_model(notes, np.ones(len(notes.take), np.bool_))


def test_takes_of_two_tables_are_kept_apart(table: Path) -> None:
    notes, _ = load([table, table])
    assert np.unique(notes.take).size == 2 * TAKES


def test_takes_of_a_real_guitar_weigh_the_same_however_many_they_are(
    fitted: tuple[Notes, tuple[Range, ...], Model],
) -> None:
    notes, *_ = fitted
    model = np.repeat(["modes", "apart", "real one", "real two"], NOTES_PER_TAKE * TAKES // 4)
    model[-NOTES_PER_TAKE:] = "real one"
    weight = weights(replace(notes, model=model))
    for guitar in ("real one", "real two"):
        assert weight[model == guitar].sum() == pytest.approx(REAL_NOTES)
    assert set(weight[model == "modes"]) == {RUN_WEIGHT, RUN_WEIGHT * STRUCK_WEIGHT}
    assert set(weight[model == "apart"]) == {ELSEWHERE_WEIGHT, ELSEWHERE_WEIGHT * STRUCK_WEIGHT}
    neck = weights(replace(notes, kind=np.full(len(model), "rough neck")))
    assert set(neck) == {1.0, STRUCK_WEIGHT}


def test_written_trees_part_what_lies_as_near_as_pitches_do() -> None:
    from sklearn.ensemble import HistGradientBoostingClassifier

    # a cent apart, as two guitars' notes of one name: 0.0006 of a logarithm
    near = np.log(196.0 * 2.0 ** (np.arange(40) % 2 / 1200.0))[:, None] + 0.0002
    grown = HistGradientBoostingClassifier(
        max_iter=5, max_leaf_nodes=2, max_depth=1, min_samples_leaf=5, early_stopping=False
    ).fit(near, near[:, 0] > near.mean())
    written = read_trees("\n".join(tree_lines(grown, depth=1)), start=baseline(grown))
    assert written.sums(near) == pytest.approx(grown.decision_function(near), abs=1e-3)
    assert np.ptp(written.sums(near)) > 0.5


def test_struck_notes_are_told(fitted: tuple[Notes, tuple[Range, ...], Model]) -> None:
    notes, _, model = fitted
    p = probabilities(model, notes)
    assert p[notes.struck].mean() > 0.9
    assert p[notes.clean].mean() < 0.1


def test_contact_does_not_hang_on_the_continuation_alone(
    fitted: tuple[Notes, tuple[Range, ...], Model],
) -> None:
    notes, *_ = fitted
    # one figure tells all by itself, as no cue does
    figures = notes.figures.copy()
    figures[:, 0] += 40.0 * notes.struck
    leaning = replace(notes, figures=figures)
    model = fit_model(leaning, np.ones(len(notes.take), np.bool_))
    for heard in (leaning, replace(notes, figures=np.zeros_like(figures))):
        p = probabilities(model, heard)
        assert p[notes.struck].mean() > 0.8
        assert p[notes.clean].mean() < 0.1


def test_the_analysis_computes_what_was_fitted(
    fitted: tuple[Notes, tuple[Range, ...], Model],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    notes, ranges, model = fitted
    path = tmp_path / "numbers.py"
    write_numbers(path, model, ranges)
    written = runpy.run_path(str(path))
    for name in ("COMPARED", "FIRST_SLOPES", "FIRST_BIAS", "TREES"):
        monkeypatch.setattr(contact, name, written[name])
    assert [tuple(r) for r in written["COMPARED"]] == [tuple(r) for r in ranges]
    rows = np.flatnonzero(notes.take == 0)
    cues = [_cues(notes, row, ranges) for row in rows]
    places = [contact.Place(0, int(notes.string[r]), int(notes.fret[r])) for r in rows]
    computed = contact.contact_probabilities(cues, places, notes.figures[rows])
    # numbers are written with three and four places
    np.testing.assert_allclose(computed, probabilities(model, notes)[rows], atol=0.02)


def _cues(notes: Notes, row: int, ranges: tuple[Range, ...]) -> Cues:
    values = dict.fromkeys(Cues.__slots__, 0.0)
    thirds = {r.cue: [0.0] * 3 for r in (*ranges, *ALONE) if r.third is not None}
    for r, value in zip((*ranges, *ALONE), [*notes.compared[row], *notes.alone[row]], strict=True):
        raw = float(value) + r.mean
        raw = float(np.exp(raw)) - 0.1 if r.logarithm else raw
        if r.third is None:
            values[r.cue] = raw
        else:
            thirds[r.cue][r.third] = raw
    return Cues(**(values | {k: tuple(v) for k, v in thirds.items()}))  # type: ignore[arg-type]


def test_parts_are_told_by_the_others(table: Path) -> None:
    notes, _ = load([table])
    odd = notes.take % 2
    p = held_out(notes, odd)
    even = probabilities(fit_model(notes, odd == 0), notes)
    np.testing.assert_array_equal(p[odd == 1], even[odd == 1])
