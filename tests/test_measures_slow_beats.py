"""Beats slower than a note, and what the beginning is worth: the level itself tells."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.slow_beats import BeatFit, fit_through_beats, room_of_take

TIMES = np.linspace(0.08, 0.9, 40)


def level(
    rate: float, *, beats: float = 0.0, second: float = 0.0, early_db: float = 0.0
) -> npt.NDArray[np.float64]:
    """Return powers that fall, of a pair in step at time zero, and with a loud beginning."""
    turn = 2.0 * np.pi * beats * TIMES / TIMES[-1]
    pair = np.abs(1.0 + second * np.exp(1j * turn)) ** 2
    early = early_db * np.exp(-(TIMES - 0.08) / 0.08)
    return np.asarray(pair * 10.0 ** ((early - rate * TIMES) / 10.0))


def fit(
    powers: npt.NDArray[np.float64],
    *,
    noise: float = 1e-9,
    room: npt.NDArray[np.float64] | None = None,
) -> BeatFit:
    found = fit_through_beats(
        TIMES[: len(powers)],
        powers + noise,
        noise=noise,
        frequency_hz=660.0,
        early_from_s=0.08,
        per_independent=3.0,
        room=room,
    )
    assert found is not None
    return found


def test_straight_level() -> None:
    found = fit(level(15.0))
    assert found.fall == pytest.approx(15.0, rel=0.01)
    assert found.error < 0.5
    assert found.at_zero == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("second", [-0.4, 0.4])
@pytest.mark.parametrize("beats", [0.15, 0.3, 0.7])
def test_pair_is_seen_through(beats: float, second: float) -> None:
    # Faster beats are resolved by their phase as well, see `buzzscan.measures.beating`.
    powers = level(15.0, beats=beats, second=second)
    found = fit(powers)
    # What the steps of the bank leave is under the 3 % that callers allow for unequal falls.
    assert abs(found.fall - 15.0) < 3.0 * found.error + 0.02 * 15.0
    # The straight line through the same level, for comparison.
    plain = -np.polyfit(TIMES, 10.0 * np.log10(powers), 1)[0]
    assert abs(found.fall - 15.0) < 0.5 * abs(plain - 15.0) + 0.3


@pytest.mark.parametrize("early_db", [-2.0, 2.0])
def test_room_at_the_beginning_widens_the_error(early_db: float) -> None:
    found = fit(level(15.0, early_db=early_db))
    assert abs(found.fall - 15.0) < 3.0 * found.error
    assert found.error > 1.5 * fit(level(15.0)).error


def test_other_notes_tell_a_short_one_of_the_room() -> None:
    short = level(15.0)[:8]
    rooms = [
        room_of_take([fit(level(rate, early_db=db)).early_log_odds for rate in (8.0, 12.0, 20.0)])
        for db in (0.0, 3.0)
    ]
    dry, wet = (fit(short, room=room) for room in rooms)
    assert dry.early_db < fit(short).early_db < wet.early_db
    assert dry.error < wet.error


def test_no_room_is_ruled_out_by_a_take() -> None:
    room = room_of_take([fit(level(15.0)).early_log_odds] * 16)
    assert room.sum() == pytest.approx(1.0)
    assert room.min() > 0.01
    assert room[0] + room[1] > 0.8


def test_error_is_what_noise_makes_of_it() -> None:
    rng = np.random.default_rng(8)
    amplitude = np.sqrt(level(15.0))[None, :]
    noise = 10.0 ** (-30.0 / 10.0)
    both = rng.normal(size=(60, 2, len(TIMES))) * np.sqrt(noise / 2.0)
    powers = (amplitude + both[:, 0]) ** 2 + both[:, 1] ** 2
    found = [fit(p - noise, noise=noise) for p in powers]
    held = np.mean([abs(f.fall - 15.0) < 1.96 * f.error for f in found])
    assert held >= 0.9  # of intervals of 95 %, by 60 draws


def test_too_few_levels() -> None:
    two = TIMES[:2]
    none = fit_through_beats(
        two,
        np.ones(2),
        noise=0.0,
        frequency_hz=660.0,
        early_from_s=0.08,
        per_independent=3.0,
    )
    assert none is None
