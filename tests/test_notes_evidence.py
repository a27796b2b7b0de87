"""What candidates say about places."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from runs_by_hand import heard, open_b

from buzzscan.guitar import Guitar
from buzzscan.notes.evidence import place_evidence
from buzzscan.notes.hearing import Heard
from buzzscan.notes.moves import states_of
from buzzscan.notes.strings import assumed_strings

GUITAR = Guitar()
STATES = states_of(GUITAR)
N = len(STATES.string) // 2


def evidence(candidates: Heard) -> dict[tuple[int, int], float]:
    """Return evidence for each place on strings of known stiffness."""
    known = np.log([1.0, *(open_b(GUITAR.midi(s, 0)) for s in GUITAR.strings)])
    strings = replace(
        assumed_strings(GUITAR, 0.0), ln_b=known, ln_b_sd=np.full(7, 0.1), cents_sd=np.full(7, 8.0)
    )
    row = place_evidence(candidates, STATES, strings, GUITAR.a4_hz)[0]
    places = zip(STATES.string[:N].tolist(), STATES.fret[:N].tolist(), strict=True)
    return dict(zip(places, row.tolist(), strict=True))


def test_the_places_of_its_pitch_explain_a_note() -> None:
    at = evidence(heard([57.0], b_sd=1e-2))
    alike = [at[5, 12], at[4, 7], at[3, 2], at[6, 17]]
    assert min(alike) > -1.0
    assert at[5, 13] < min(alike) - 2.0
    assert at[1, 0] < min(alike) - 2.0


def test_stiffness_tells_strings_apart() -> None:
    at = evidence(heard([57.0], b=8e-5 * 2.0 ** (12 / 6), b_sd=1e-6))
    assert at[5, 12] > at[3, 2]


def test_a_choked_note_may_sound_a_higher_frets_pitch_but_not_a_lower_ones() -> None:
    at = evidence(heard([57.0], b_sd=1e-2))
    assert at[5, 12] > at[5, 10] > at[5, 14]


def test_a_string_that_strikes_a_fret_sounds_sharp_with_straight_partials() -> None:
    straight = evidence(heard([57.5], b=2e-6, b_sd=1e-6))
    bent = evidence(heard([57.5], b=3.2e-4, b_sd=1e-6))
    assert straight[5, 12] > straight[5, 15] + 1.0
    assert straight[5, 12] > bent[5, 12]


def test_no_place_is_ever_quite_impossible() -> None:
    assert np.isfinite(list(evidence(heard([57.0])).values())).all()
    assert min(evidence(heard([57.0])).values()) >= -9.0
