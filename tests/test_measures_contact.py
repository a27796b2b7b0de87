"""Probability of contact: bounds, direction, and what a whole take shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures import contact
from buzzscan.measures.buzz_cues import Cues
from buzzscan.measures.contact import Place, known_figures, log_odds, logistic
from buzzscan.measures.continuation import N_FIGURES, continuation_figures

FloatArray = npt.NDArray[np.floating[Any]]

CLEAN = Cues(
    fresh_db=(-27.0, -24.0, -18.0),
    fresh_held_db=(-28.0, -24.0, -18.0),
    fresh_least_db=(-30.0, -27.0, -20.0),
    fresh_line_db=(-26.0, -21.0, -17.0),
    fresh_line_held_db=(-27.0, -21.0, -17.0),
    fresh_low_db=-30.0,
    fresh_low_held_db=-31.0,
    fresh_line_low_db=-30.0,
    fresh_line_low_held_db=-30.0,
    fresh_share_db=(-45.0, -52.0, -60.0),
    fresh_share_held_db=(-46.0, -53.0, -60.0),
    pair_db=(-30.0, -26.0, -19.0),
    pair_line_db=(-29.0, -23.0, -18.0),
    pair_line_low_db=-33.0,
    gap_db=(-35.0, -27.0, -20.0),
    gap_low_db=-40.0,
    rough_db=(0.2, 0.4, 0.8),
    rough_low_db=0.1,
    late_db=(-20.0, -32.0, -45.0),
    over_noise_db=(35.0, 25.0, 12.0),
    part_db=(-15.0, -25.0, -35.0, -50.0),
    part_fresh_db=(-27.0, -24.0, -20.0, -17.0),
    course_s=(0.1,),
    course_fresh_db=(-26.0,),
    length_s=0.4,
    first_partial_hz=196.0,
)
STRUCK = replace(
    CLEAN,
    fresh_db=(-8.0, -4.0, -3.0),
    fresh_held_db=(-8.0, -5.0, -4.0),
    fresh_least_db=(-10.0, -6.0, -5.0),
    fresh_line_db=(-7.0, -4.0, -3.0),
    fresh_line_held_db=(-8.0, -4.0, -3.0),
    fresh_low_db=-14.0,
    fresh_low_held_db=-15.0,
    fresh_line_low_db=-12.0,
    fresh_line_low_held_db=-13.0,
    fresh_share_db=(-17.0, -19.0, -24.0),
    fresh_share_held_db=(-18.0, -20.0, -26.0),
    pair_db=(-10.0, -6.0, -5.0),
    pair_line_db=(-9.0, -6.0, -5.0),
    pair_line_low_db=-16.0,
    gap_db=(-20.0, -13.0, -10.0),
    gap_low_db=-28.0,
    rough_db=(1.5, 1.5, 1.5),
    rough_low_db=0.8,
    late_db=(-10.0, -14.0, -20.0),
    over_noise_db=(45.0, 40.0, 30.0),
)


RATE_HZ = 44100


def _figures(struck_every_s: float | None) -> FloatArray:
    """Return the figures of damped partials that every strike, if any, turns and thins out."""
    rng = np.random.default_rng(2)
    t = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    sound = rng.normal(0.0, 1e-5, t.size)
    for n in range(1, 20):
        strikes = np.floor(t / struck_every_s).astype(int) if struck_every_s else np.zeros(1, int)
        turns = rng.normal(0.0, 0.8, strikes[-1] + 1)[strikes]
        levels = np.exp(rng.normal(0.0, 0.4, strikes[-1] + 1))[strikes]
        sound += 0.2 / n * levels * np.exp(-(2.0 + 0.4 * n) * t) * np.cos(1231.5 * n * t + turns)
    return continuation_figures(
        sound, sample_rate_hz=RATE_HZ, first_partial_hz=196.0, inharmonicity=0.0
    )


FIGURES = {id(CLEAN): _figures(None), id(STRUCK): _figures(0.0051)}


def contact_probabilities(cues: Sequence[Cues], at: Sequence[Place]) -> FloatArray:
    """Return what is told of notes; one that is neither continues as the clean one does."""
    figures = [FIGURES.get(id(cue), FIGURES[id(CLEAN)]) for cue in cues]
    return contact.contact_probabilities(cues, at, np.array(figures))


def places(n: int) -> list[Place]:
    return [Place(0, 3, fret) for fret in range(n)]


def test_struck_and_clean() -> None:
    cues = [STRUCK if fret in (5, 6) else CLEAN for fret in range(18)]
    p = contact_probabilities(cues, places(18))
    assert p.shape == (18,)
    assert min(p[5], p[6]) > 0.9
    assert max(np.delete(p, [5, 6])) < 0.05


def test_a_take_that_buzzes_all_over_is_still_told() -> None:
    assert min(contact_probabilities([STRUCK] * 18, places(18))) > 0.5


@pytest.mark.parametrize("raised_db", [5.0, 9.0])
def test_what_all_notes_share_is_not_contact(raised_db: float) -> None:
    def raised(values: tuple[float, float, float]) -> tuple[float, float, float]:
        return (values[0] + raised_db, values[1] + raised_db, values[2] + raised_db)

    coded = replace(
        CLEAN,
        fresh_db=raised(CLEAN.fresh_db),
        fresh_line_db=raised(CLEAN.fresh_line_db),
        fresh_held_db=raised(CLEAN.fresh_held_db),
        fresh_line_held_db=raised(CLEAN.fresh_line_held_db),
        fresh_share_db=raised(CLEAN.fresh_share_db),
    )
    assert max(contact_probabilities([coded] * 22, places(22))) < 0.2


def test_takes_do_not_lean_on_each_other() -> None:
    cues = [CLEAN] * 12 + [STRUCK]
    alone = contact_probabilities(cues, places(13))
    both = contact_probabilities(
        cues + [STRUCK] * 12, places(13) + [Place(1, 3, fret) for fret in range(12)]
    )
    assert both[:13] == pytest.approx(alone, abs=1e-12)


def test_order_of_notes_does_not_matter() -> None:
    cues = [STRUCK if fret % 5 == 0 else CLEAN for fret in range(15)]
    forth = contact_probabilities(cues, places(15))
    back = contact_probabilities(cues[::-1], places(15)[::-1])
    assert back[::-1] == pytest.approx(forth, abs=1e-9)


def test_more_fresh_power_never_speaks_against_contact() -> None:
    base = contact_probabilities([CLEAN] * 15, places(15))[7]
    for step in range(1, 20):
        more = replace(CLEAN, fresh_db=(-27.0 + step, *CLEAN.fresh_db[1:]))
        cues = [CLEAN] * 7 + [more] + [CLEAN] * 7
        # the trend follows the note by a little, so not exactly
        assert contact_probabilities(cues, places(15))[7] >= base - 0.01


def test_one_note_and_none() -> None:
    assert 0.0 <= contact_probabilities([CLEAN], places(1))[0] < 0.2
    assert contact_probabilities([], []).size == 0


def test_a_note_too_short_for_figures_is_told_by_its_cues() -> None:
    cues = [STRUCK if fret in (5, 6) else CLEAN for fret in range(18)]
    short = np.full((18, N_FIGURES), np.nan)
    assert np.all(known_figures(short) == 0.0)
    p = contact.contact_probabilities(cues, places(18), short)
    assert np.all(np.isfinite(p))
    assert min(p[5], p[6]) > max(np.delete(p, [5, 6]))


def test_log_odds_are_what_the_logistic_undoes() -> None:
    shares = np.array([[0.001, 0.2], [0.5, 0.999]])
    np.testing.assert_allclose(logistic(log_odds(shares)), shares, rtol=1e-12)
    assert log_odds(0.75) == pytest.approx(np.log(3.0))
