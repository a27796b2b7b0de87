"""Energy that contact makes: sums of energies, what is missing, what is learnt, and doubt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_measures_contact import CLEAN, STRUCK, places

from buzzscan.measures import buzz_energy
from buzzscan.measures.buzz_cues import PARTS_HZ, Cues
from buzzscan.measures.buzz_energy import buzz_levels_db, free_parts_db, seen_by_trees
from buzzscan.measures.buzz_numbers import LEAST_DB, MOST_DB, TREES
from buzzscan.measures.trees import read_trees

TOP_HZ, AMP_HZ = PARTS_HZ[-1], PARTS_HZ[-2]
ALL_FRESH = replace(STRUCK, part_db=(-20.0,) * 4, part_fresh_db=(0.0,) * 4)
SILENT = np.full(4, -80.0)
NOTHING_LEARNT = read_trees("0 0.0 0.0 0.0", start=0.0)


@pytest.fixture
def unlearnt(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the sum of energies as it is."""
    monkeypatch.setattr(buzz_energy, "TREES", NOTHING_LEARNT)


def level(
    cues: Cues = ALL_FRESH,
    *,
    contact: float = 1.0,
    free: np.ndarray = SILENT,
    rests: bool = False,
    top_hz: float = TOP_HZ,
) -> float:
    levels = buzz_levels_db(
        [cues],
        contact=np.array([contact]),
        free_db=free[None],
        rests=np.array([rests]),
        tops_hz=(top_hz,),
    )
    return float(levels[0, 0])


@pytest.mark.usefixtures("unlearnt")
def test_parts_of_no_common_phase_add_up() -> None:
    # four parts of -20 dB; what a silent string would have had adds nothing
    assert level() == pytest.approx(-20.0 + 10.0 * np.log10(4.0), abs=0.01)
    assert level(top_hz=AMP_HZ) == pytest.approx(-20.0 + 10.0 * np.log10(3.0), abs=0.01)


@pytest.mark.usefixtures("unlearnt")
def test_energy_that_contact_took_away_counts_by_half() -> None:
    assert level(free=np.full(4, -20.0)) - level() == pytest.approx(10.0 * np.log10(1.5), abs=0.01)
    # ten times as much missing as heard
    assert level(free=np.full(4, -10.0)) - level() == pytest.approx(10.0 * np.log10(6.0), abs=0.01)


def test_a_string_on_a_higher_fret_has_no_free_twin() -> None:
    # what is heard counts, nothing is missing and nothing was learnt of such a string
    loud = np.full(4, 10.0)
    assert level(free=loud, rests=True) == pytest.approx(-20.0 + 10.0 * np.log10(4.0), abs=0.01)


@pytest.mark.usefixtures("unlearnt")
def test_what_follows_from_the_past_is_no_buzz() -> None:
    steady = replace(ALL_FRESH, part_fresh_db=(-45.0,) * 4)
    # a frame shows a hundredth of what contact has pushed into a partial
    assert level() - level(steady) == pytest.approx(25.0, abs=0.01)


def test_less_likely_contact_makes_less_buzz() -> None:
    levels = [level(contact=c) for c in (1.0, 0.5, 0.25, 0.05, 1e-9)]
    assert levels[0] == levels[1]
    # the square of the odds: a third, and one in nineteen
    assert levels[1] - levels[2] == pytest.approx(20.0 * np.log10(3.0), abs=0.01)
    assert levels[1] - levels[3] == pytest.approx(20.0 * np.log10(19.0), abs=0.01)
    assert levels[4] == -100.0


def test_a_free_string_is_learnt_from_the_clean_notes_of_the_take() -> None:
    bright = replace(CLEAN, part_db=(-5.0, -10.0, -15.0, -20.0))
    louder = replace(bright, part_db=(0.0, 0.0, 0.0, 0.0))
    cues = [bright] * 30 + [louder]
    contact = np.array([0.0] * 30 + [1.0])
    free = free_parts_db(cues, places(31), contact)
    # the simulated population holds eight notes' weight against thirty: a third of 35 dB at most
    assert np.all(np.abs(free[-1] - bright.part_db) < 12.0)
    without = free_parts_db(cues[:30], places(30), contact[:30])
    np.testing.assert_allclose(free[:30], without, atol=1e-6)


def raised(db: float) -> str:
    """Return a tree that adds some dB where the fresh part of the lowest part is over -10 dB."""
    return f"0 -10.0 0.0 {db}"


def test_what_is_learnt_is_added_in_every_range(monkeypatch: pytest.MonkeyPatch) -> None:
    steady = replace(ALL_FRESH, part_fresh_db=(-12.0, 0.0, 0.0, 0.0))
    monkeypatch.setattr(buzz_energy, "TREES", NOTHING_LEARNT)
    before = [level(c, top_hz=top) for c in (ALL_FRESH, steady) for top in (TOP_HZ, AMP_HZ)]
    monkeypatch.setattr(buzz_energy, "TREES", read_trees(raised(3.0), start=1.0))
    after = [level(c, top_hz=top) for c in (ALL_FRESH, steady) for top in (TOP_HZ, AMP_HZ)]
    np.testing.assert_allclose(np.subtract(after, before), [4.0, 4.0, 1.0, 1.0])


@pytest.mark.parametrize(("learnt", "bound"), [(200.0, MOST_DB), (-200.0, LEAST_DB)])
def test_what_is_learnt_stays_within_what_was_met(
    monkeypatch: pytest.MonkeyPatch, learnt: float, bound: float
) -> None:
    monkeypatch.setattr(buzz_energy, "TREES", NOTHING_LEARNT)
    plain = level()
    monkeypatch.setattr(buzz_energy, "TREES", read_trees(raised(learnt), start=0.0))
    assert level() - plain == pytest.approx(bound)
    assert LEAST_DB < 0.0 < MOST_DB


def test_doubt_is_no_part_of_what_is_learnt() -> None:
    # a clean note's level falls with its odds, whatever the trees make of its cues
    free = np.asarray(CLEAN.part_db)
    fall = level(CLEAN, contact=0.5, free=free) - level(CLEAN, contact=0.1, free=free)
    assert fall == pytest.approx(20.0 * np.log10(9.0))


def test_trees_see_each_column_that_they_were_fitted_to() -> None:
    free = np.array([-10.0, -20.0, -30.0, -40.0])
    columns = seen_by_trees([STRUCK, ALL_FRESH], np.stack([free, SILENT]))
    assert columns.shape == (2, 15)
    assert TREES.splits.max() == 14
    np.testing.assert_allclose(columns[0, :4], STRUCK.part_fresh_db)
    np.testing.assert_allclose(columns[0, 4:8], free)
    # four parts of -20 dB, all fresh, beside next to nothing
    np.testing.assert_allclose(columns[1, 8:11], [-13.98, -73.98, -13.98], atol=0.01)
    np.testing.assert_allclose(columns[0, 11:14], STRUCK.fresh_share_db)
    assert columns[0, 14] == pytest.approx(np.log(STRUCK.first_partial_hz))


def test_a_higher_note_hides_more_of_its_buzz() -> None:
    """What the trees learnt plainest: about a decibel per octave of the first partial."""
    free = np.asarray(CLEAN.part_db)
    low, high = (
        level(replace(STRUCK, first_partial_hz=hz), free=free) for hz in (82.4, 82.4 * 8.0)
    )
    assert 1.0 < high - low < 6.0


def test_notes_are_told_one_by_one() -> None:
    cues = [STRUCK, ALL_FRESH, CLEAN]
    contact = np.array([0.9, 1.0, 0.02])
    free = np.stack([np.asarray(c.part_db) - 3.0 for c in cues])
    rests = np.array([False, True, False])
    together = buzz_levels_db(
        cues, contact=contact, free_db=free, rests=rests, tops_hz=(TOP_HZ, AMP_HZ)
    )
    for i, cue in enumerate(cues):
        alone = level(cue, contact=contact[i], free=free[i], rests=bool(rests[i]), top_hz=AMP_HZ)
        assert together[i, 1] == pytest.approx(alone)
    assert np.all(together[:, 1] <= together[:, 0])


def test_no_notes() -> None:
    assert free_parts_db([], [], np.zeros(0)).shape == (0, 4)
    empty = np.zeros((0, 4))
    none = buzz_levels_db(
        [], contact=np.zeros(0), free_db=empty, rests=np.zeros(0, np.bool_), tops_hz=(TOP_HZ,)
    )
    assert none.shape == (0, 1)


def test_the_band_of_buzz_is_heard_as_it_is() -> None:
    """IEC 61672-1 weighting A, as a reference library has it: the band needs no weighting."""
    librosa = pytest.importorskip("librosa")
    # table of the standard: tenths of a decade, in dB (as pyfar's documentation quotes it)
    published = {20: -19.1, 24: -8.6, 27: -3.2, 30: 0.0, 33: 1.2, 36: 1.0, 39: -1.1, 42: -6.6}
    weights = librosa.A_weighting(10.0 ** (np.array(list(published)) / 10.0))
    assert weights == pytest.approx(np.array(list(published.values())), abs=0.05)
    band = librosa.A_weighting(np.geomspace(PARTS_HZ[0], PARTS_HZ[-1], 50))
    # 2 dB are less than the steps in which buzz is told
    assert np.abs(band).max() < 2.0
    assert librosa.A_weighting(np.array([100.0]))[0] < -15.0
