"""Attacks beside those of their string's neighbouring frets, and what they say of a touch."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.attack import (
    EDGES_HZ,
    SPANS_S,
    Attack,
    attack_excess,
    attack_levels_db,
    hear_attack,
    touch_columns,
    touch_probabilities,
)
from buzzscan.measures.contact import Place
from buzzscan.measures.continuation import N_FIGURES

RATE_HZ = 44100
PER_SPAN = len(EDGES_HZ)
FRETS = 20
BRIGHT = 9
FloatArray = npt.NDArray[np.float64]


def attacks(
    *, brighter_db: float = 0.0, gain_db: float = 0.0, frets: int = FRETS
) -> tuple[FloatArray, list[Place]]:
    """Return levels of one string whose brightness falls evenly, but for one fret."""
    rng = np.random.default_rng(5)
    rows, places = [], []
    for fret in range(frets):
        level = np.tile(-20.0 - 6.0 * np.arange(PER_SPAN), len(SPANS_S)) - 0.4 * fret
        level += rng.normal(0.0, 0.2, level.size) + gain_db
        if fret == BRIGHT:
            band = np.arange(level.size) % PER_SPAN
            level += np.where(band >= 5, brighter_db, 0.0)
        rows.append(level)
        places.append(Place(0, 3, fret))
    return np.array(rows), places


def excess(**options: float) -> FloatArray:
    levels, places = attacks(**options)  # type: ignore[arg-type]
    return np.asarray(attack_excess(levels, places, np.zeros(len(places))))


def ringing(*, struck_db: float = 0.0) -> FloatArray:
    """Return damped partials of 220 Hz, the upper ones of another level until 40 ms."""
    t = np.arange(RATE_HZ // 4) / RATE_HZ
    n = np.arange(1, 25)[:, None]
    level = np.exp(-(2.0 + 0.4 * n) * t) / n
    level *= np.where((t < 0.04) & (n >= 3), 10.0 ** (struck_db / 20.0), 1.0)
    return np.asarray((0.2 * level * np.cos(2.0 * np.pi * 220.0 * n * t + n)).sum(axis=0))


def hear(sound: FloatArray, **options: float | None) -> Attack:
    given = {"inharmonicity": 0.0, **options}
    return hear_attack(sound, sample_rate_hz=RATE_HZ, first_partial_hz=220.0, **given)


def probability(*, struck_db: float = 0.0, **options: float) -> FloatArray:
    levels, places = attacks(**options)  # type: ignore[arg-type]
    free, struck = (hear(ringing(struck_db=db)).figures for db in (0.0, struck_db))
    heard = [
        Attack(row, struck if fret == BRIGHT else free, 220.0) for fret, row in enumerate(levels)
    ]
    return np.asarray(touch_probabilities(heard, places, np.zeros(len(places))))


def test_white_noise_has_in_each_band_what_its_width_is_of_the_whole() -> None:
    rng = np.random.default_rng(1)
    noise = rng.normal(0.0, 0.1, (200, RATE_HZ // 5))
    powers = np.mean(
        [10.0 ** (attack_levels_db(n, sample_rate_hz=RATE_HZ) / 10.0) for n in noise], axis=0
    ).reshape(len(SPANS_S), PER_SPAN)
    shares = powers[:, 1:] / powers[:, :1]
    # 200 spans of noise scatter by 7 % where a band of the shortest holds a few independent values
    np.testing.assert_allclose(shares / (np.diff(EDGES_HZ) / (RATE_HZ / 2)), 1.0, atol=0.2)


def test_a_tone_is_heard_in_its_own_band() -> None:
    t = np.arange(RATE_HZ // 5) / RATE_HZ
    levels = attack_levels_db(0.5 * np.sin(2 * np.pi * 3800.0 * t), sample_rate_hz=RATE_HZ)
    of_spans = levels.reshape(len(SPANS_S), PER_SPAN)
    assert (of_spans[:, 1:].argmax(axis=1) == np.searchsorted(EDGES_HZ, 3800.0) - 1).all()
    np.testing.assert_allclose(of_spans[:, 5], of_spans[:, 0], atol=0.1)


def test_spans_that_a_short_note_does_not_reach_are_not_made_up() -> None:
    levels = attack_levels_db(np.full(RATE_HZ // 25, 0.1), sample_rate_hz=RATE_HZ)
    known = np.isfinite(levels).reshape(len(SPANS_S), PER_SPAN).all(axis=1)
    assert known.tolist() == [True, True, True, False]


def test_even_brightness_has_no_excess() -> None:
    # 0.2 dB of scatter, and what the line through ten neighbours adds to it
    assert float(np.std(excess())) < 0.5


def test_a_brighter_attack_passes_its_neighbours_by_that_much() -> None:
    bands = excess(brighter_db=9.0).reshape(FRETS, len(SPANS_S), PER_SPAN)
    np.testing.assert_allclose(bands[BRIGHT, :, 5:], 9.0, atol=1.0)
    assert float(np.abs(np.delete(bands, BRIGHT, axis=0)).max()) < 2.0


def test_the_gain_of_a_recording_changes_nothing() -> None:
    np.testing.assert_allclose(excess(brighter_db=9.0, gain_db=-30.0), excess(brighter_db=9.0))


def test_a_note_in_contact_does_not_hide_its_neighbours() -> None:
    levels, places = attacks()
    levels[8:12, 5:9] += 12.0
    contact = np.zeros(FRETS)
    contact[[8, 10, 11]] = 1.0
    told, untold = (
        attack_excess(levels, places, c)[BRIGHT, 5:9].mean() for c in (contact, np.zeros(FRETS))
    )
    assert told > untold


def test_a_brighter_attack_speaks_for_a_touch() -> None:
    even, bright = (probability(brighter_db=b)[BRIGHT] for b in (0.0, 12.0))
    assert even < 0.5 < bright


def test_an_attack_that_does_not_continue_speaks_for_a_touch() -> None:
    even, struck = (probability(struck_db=db)[BRIGHT] for db in (0.0, -8.0))
    assert even < struck


def test_a_note_that_ends_too_soon_tells_nothing() -> None:
    whole, part = hear(ringing()), hear(ringing()[: RATE_HZ // 12])
    levels, places = attacks()
    heard = [part._replace(levels_db=levels[0]), *(whole._replace(levels_db=x) for x in levels)]
    told = touch_columns(heard, [Place(0, 3, 0), *places], np.zeros(FRETS + 1))
    assert np.isnan(told[0]).all()
    assert np.isfinite(told[1:]).all()


def test_a_string_that_does_not_tell_its_stiffness_is_taken_for_a_usual_one() -> None:
    usual, untold = (hear(ringing(), inharmonicity=b).figures for b in (1e-4, None))
    np.testing.assert_array_equal(usual, untold)


def test_a_touch_is_told_by_excess_scatter_continuation_and_pitch() -> None:
    levels, places = attacks(brighter_db=9.0)
    heard = [hear(ringing())._replace(levels_db=row) for row in levels]
    columns = touch_columns(heard, places, np.zeros(FRETS))
    n = len(SPANS_S) * PER_SPAN
    assert columns.shape == (FRETS, 2 * n + N_FIGURES + 1)
    np.testing.assert_allclose(columns[:, :n], excess(brighter_db=9.0))
    np.testing.assert_allclose(columns[0, n : 2 * n], np.median(np.abs(columns[:, :n]), axis=0))
    np.testing.assert_allclose(columns[:, -1], np.log2(220.0))


def test_notes_with_too_few_neighbours_tell_nothing() -> None:
    assert np.isnan(probability(frets=4)).all()


def test_strings_and_takes_are_compared_apart() -> None:
    levels, places = attacks()
    both = np.concatenate([levels, levels + 25.0])
    other = [*places, *(Place(1, 3, p.fret) for p in places)]
    alone = attack_excess(levels, places, np.zeros(FRETS))
    np.testing.assert_allclose(attack_excess(both, other, np.zeros(2 * FRETS))[:FRETS], alone)


def test_no_notes_are_no_trouble() -> None:
    assert touch_probabilities([], [], np.zeros(0)).size == 0


@pytest.mark.parametrize("rate_hz", [8000, 22050, 96000, 192000])
def test_any_sample_rate_will_do(rate_hz: int) -> None:
    t = np.arange(rate_hz // 5) / rate_hz
    levels = attack_levels_db(0.5 * np.sin(2 * np.pi * 1000.0 * t), sample_rate_hz=rate_hz)
    of_spans = levels.reshape(len(SPANS_S), PER_SPAN)
    told = np.isfinite(of_spans[:, 0])
    assert told.any()
    np.testing.assert_allclose(of_spans[told, 2], of_spans[told, 0], atol=0.2)
