"""The glide of the attacks betrays a softer pick that was made as loud afterwards."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from necks_by_hand import (
    HIGH_FRET,
    SLIGHT,
    after_scan,
    before_scan,
    changes,
    made,
    with_high_fret,
)

from buzzscan.comparison import compare
from buzzscan.comparison.swing import swing_of
from buzzscan.scanning import Scan


def gliding(scan: Scan, cents: float, *, scatter_cents: float = 0.5, seed: int = 1) -> Scan:
    """Return a scan whose notes glide by so much, with the scatter that real fingers have."""
    rng = np.random.default_rng(seed)
    glides = cents + scatter_cents * rng.standard_normal(len(scan.notes))
    notes = tuple(
        dataclasses.replace(n, glide_cents=float(g))
        for n, g in zip(scan.notes, glides, strict=True)
    )
    return dataclasses.replace(scan, notes=notes)


# The swing goes with the square root of the glide (Legge and Fletcher, 1984): a quarter of it is
# half the swing, -6 dB.
@pytest.mark.parametrize(
    ("after_cents", "change_db", "pick"),
    [(0.8, 0.0, None), (0.56, -1.5, None), (0.2, -6.0, "softer"), (3.2, 6.0, "harder")],
)
def test_half_the_swing_is_a_quarter_of_the_glide(
    after_cents: float, change_db: float, pick: str | None
) -> None:
    swing = swing_of(gliding(made({}), 0.8), gliding(after_scan({}), after_cents, seed=2))
    assert swing is not None
    assert swing.change_db == pytest.approx(change_db, abs=1.5)  # scatter of 0.5 over 52 places
    assert swing.pick == pick


def test_untouched_takes_are_not_doubted() -> None:
    """Over many takes with the scatter of real notes, twice as large as their glide."""
    doubted = [
        swing_of(
            gliding(made({}), 0.5, scatter_cents=1.0, seed=seed),
            gliding(after_scan({}), 0.5, scatter_cents=1.0, seed=1000 + seed),
        )
        for seed in range(60)
    ]
    assert sum(swing is not None and swing.pick is not None for swing in doubted) <= 1


def test_a_softer_take_made_as_loud_is_no_cure() -> None:
    before = gliding(with_high_fret(made(HIGH_FRET)), 0.8)
    after = gliding(after_scan({}), 0.2, seed=2)
    told = compare(before, after)
    assert told.strength.pick == "softer"
    assert not {"cured", "better"} & set(changes(told))
    assert told.strength.gain_change_db == pytest.approx(6.0, abs=1.5)
    assert "their attacks glide as with a swing changed by" in told.remarks[0]
    alike = compare(before, gliding(after_scan({}), 0.8, seed=2))
    assert alike.strength.pick == "alike"
    assert changes(alike)["cured"] == 9


def test_where_level_and_glide_contradict_neither_is_believed() -> None:
    before = gliding(with_high_fret(made(HIGH_FRET)), 0.8)
    louder = gliding(after_scan({}, level_dbfs=-7.0), 0.2, seed=2)
    told = compare(before, louder)
    assert told.strength.pick == "unknown"
    assert not {"cured", "better"} & set(changes(told))


def test_slight_buzz_that_is_still_there_is_believed_first() -> None:
    told = compare(gliding(before_scan(), 0.8), gliding(after_scan(SLIGHT), 0.2, seed=2))
    assert told.strength.pick == "alike"


def test_few_places_or_no_glide_say_nothing() -> None:
    assert swing_of(made({}), after_scan({})) is None
    still = [gliding(s, 0.0, seed=i) for i, s in enumerate((made({}), after_scan({})))]
    assert swing_of(*still) is None
    one, other = (gliding(s, 0.8) for s in (made(HIGH_FRET), after_scan({})))
    few = {(p.string, p.fret) for p in one.positions if p.buzz == "clean"}
    few = set(sorted(few)[:15])
    held = tuple(
        dataclasses.replace(p, buzz="slight") if (p.string, p.fret) not in few else p
        for p in one.positions
    )
    assert swing_of(dataclasses.replace(one, positions=held), other) is None
