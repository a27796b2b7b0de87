"""Energy that contact makes: sums of energies, what is missing, and doubt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_measures_contact import CLEAN, STRUCK, places

from buzzscan.measures.buzz_cues import PARTS_HZ
from buzzscan.measures.buzz_energy import buzz_level_db, free_parts_db

TOP_HZ, AMP_HZ = PARTS_HZ[-1], PARTS_HZ[-2]
ALL_FRESH = replace(STRUCK, part_db=(-20.0,) * 4, part_fresh_db=(0.0,) * 4)
SILENT = np.full(4, -80.0)


def level(
    cues: object = ALL_FRESH,
    *,
    contact: float = 1.0,
    free: np.ndarray | None = SILENT,
    top_hz: float = TOP_HZ,
) -> float:
    return buzz_level_db(cues, contact=contact, free_db=free, up_to_hz=top_hz)  # type: ignore[arg-type]


def test_parts_of_no_common_phase_add_up() -> None:
    # four parts of -20 dB; what a silent string would have had adds nothing
    assert level() == pytest.approx(-20.0 + 10.0 * np.log10(4.0), abs=0.01)
    assert level(top_hz=AMP_HZ) == pytest.approx(-20.0 + 10.0 * np.log10(3.0), abs=0.01)


def test_energy_that_contact_took_away_counts_by_half() -> None:
    assert level(free=np.full(4, -20.0)) - level() == pytest.approx(10.0 * np.log10(1.5), abs=0.01)
    # ten times as much missing as heard
    assert level(free=np.full(4, -10.0)) - level() == pytest.approx(10.0 * np.log10(6.0), abs=0.01)


def test_a_string_on_a_higher_fret_has_no_free_twin() -> None:
    assert level(free=None) == pytest.approx(level(), abs=1e-3)


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


def test_no_notes() -> None:
    assert free_parts_db([], [], np.zeros(0)).shape == (0, 4)
