"""Listening to whole recordings."""

from __future__ import annotations

import numpy as np
import pytest
from runs_by_hand import GAP_S, LEAD_S, NOTE_S, RATE_HZ, a_string, hz, recording, run

from buzzscan.notes.hearing import listen, power_step_samples, select
from buzzscan.notes.proof import note_odds, weeded


def test_every_note_is_heard_with_its_pitch() -> None:
    heard, _ = listen(recording(run()))
    sure = select(heard, note_odds(heard) > 0.6)
    true = (LEAD_S + np.arange(26) * (NOTE_S + GAP_S)) * RATE_HZ
    nearest = [int(np.argmin(np.abs(sure.onset - t))) for t in true]
    assert np.abs(sure.onset[nearest] - true).max() < 0.005 * RATE_HZ
    cents = 1200.0 * np.log2(
        sure.pitch_hz[nearest] / [hz(45 + f) for f in (*range(13), *range(13)[::-1])]
    )
    assert np.abs(cents).max() < 5.0  # some cents will do for placing


def test_a_seam_of_blocks_hides_and_doubles_nothing() -> None:
    """Blocks are 30 s: a run is laid over the seam note by note."""
    lead = np.zeros(round((30.0 - LEAD_S - 5.2) * RATE_HZ))
    late = np.concatenate([lead, run()])
    heard, power = listen(recording(late))
    alone, _ = listen(recording(run()))
    onset, onset_alone = (
        select(kept, note_odds(kept) > 0.6).onset
        for kept in (weeded(heard, RATE_HZ), weeded(alone, RATE_HZ))
    )
    # Attacks are looked for in steps of 1 ms.
    assert onset - len(lead) == pytest.approx(onset_alone, abs=0.0015 * RATE_HZ)
    assert len(power) == len(late) // power_step_samples(RATE_HZ)


@pytest.mark.parametrize("delay_s", [0.02, 0.03, 0.04])
def test_a_note_is_heard_whose_string_strikes_a_fret_louder_than_it_was_picked(
    delay_s: float,
) -> None:
    """Clicks as loud as the note, once a period, from when the string has come round."""
    take = run()
    loud, rng = np.abs(take).max(), np.random.default_rng(1)
    true_s = LEAD_S + np.arange(26) * (NOTE_S + GAP_S)
    for onset_s, fret in zip(true_s, (*range(13), *range(13)[::-1]), strict=True):
        for after_s in np.arange(delay_s, 0.3, 1.0 / hz(45 + fret)):
            click = np.diff(rng.standard_normal(60) * np.hanning(60), prepend=0.0)
            at = round((onset_s + after_s) * RATE_HZ)
            take[at : at + 60] += 0.5 * loud * np.exp(-after_s / 0.06) * click
    heard = weeded(listen(recording(take))[0], RATE_HZ)
    odds = note_odds(heard)
    told = [odds[np.abs(heard.onset / RATE_HZ - t) < 0.05].max(initial=0.0) for t in true_s]
    assert min(told) > 0.5


def test_the_power_is_the_mean_square() -> None:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    _, power = listen(recording(0.5 * np.sin(2 * np.pi * 1000.0 * t)))
    assert power == pytest.approx(0.125, rel=0.02)


def test_an_empty_recording_holds_nothing() -> None:
    heard, power = listen(recording(np.zeros(0)))
    assert len(heard.onset) == len(power) == 0


def test_rows_are_selected_and_moved() -> None:
    plain = a_string(45)
    keep = np.arange(26) % 2 == 0
    some = select(plain, keep, shift=100)
    assert (some.onset == plain.onset[keep] + 100).all()
    assert some.scores.shape == (13, plain.scores.shape[1])
