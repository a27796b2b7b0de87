"""Softer picks and other gains: cures that are none, and how they are told."""

from __future__ import annotations

import dataclasses

import pytest
from necks_by_hand import (
    HIGH_FRET,
    SLIGHT,
    after_scan,
    before_scan,
    change_at,
    changes,
    finding,
    made,
    with_high_fret,
)

from buzzscan.comparison import compare
from buzzscan.comparison.strength import noise_change_db, told_apart
from buzzscan.neck.verdict import Buzz
from buzzscan.recording import RecordingWarning


def test_dressed_fret_is_cured_and_the_rest_is_the_same() -> None:
    told = compare(before_scan(), after_scan())
    assert changes(told) == {"cured": 9, "same": 4 * 13 - 9}
    (cause,) = told.findings
    assert (cause.change, cause.summary) == ("cured", "high fret 9 under strings 1–3: cured")
    assert told.strength.alike
    assert "picked alike" in told.remarks[0]


@pytest.mark.parametrize("softer_db", [4.0, 6.0, 12.0])
def test_softer_take_is_no_cure(softer_db: float) -> None:
    told = compare(before_scan(), after_scan({}, level_dbfs=-12.0 - softer_db))
    assert told.strength.pick == "softer"
    counts = changes(told)
    assert counts["cured"] == counts["better"] == 0
    assert counts["not comparable"] == len(HIGH_FRET | SLIGHT)
    assert told.findings[0].change == "not comparable"
    assert "picked softer" in told.remarks[0]
    assert "cannot be shown" in told.summary


@pytest.mark.parametrize("gain_db", [-12.0, 8.0])
def test_another_gain_is_read_through(gain_db: float) -> None:
    after = after_scan(level_dbfs=-12.0 + gain_db, noise_dbfs=-70.0 + gain_db)
    told = compare(before_scan(), after)
    assert told.strength.gain_change_db == pytest.approx(gain_db, abs=0.5)  # dB, noise of 1 s
    assert changes(told)["cured"] == 9
    assert "gain" in told.strength.sentence


def test_softer_take_made_louder_is_no_cure() -> None:
    """As loud as before, with the noise raised by the gain that made up for the pick."""
    told = compare(before_scan(), after_scan({}, noise_dbfs=-64.0))
    assert told.strength.pick == "unknown"
    assert changes(told)["cured"] == 0


def test_softer_take_with_no_noise_to_go_by_is_no_cure() -> None:
    after = after_scan({}, level_dbfs=-18.0, noise_dbfs=None)
    told = compare(before_scan(noise_dbfs=None), after)
    assert changes(told)["cured"] == 0


def test_tails_between_the_notes_are_not_taken_for_noise() -> None:
    """What lies between the notes falls with the pick where it is made of their tails."""
    before = before_scan(noise_dbfs=None, between_dbfs=-80.0)
    after = after_scan({}, level_dbfs=-18.0, noise_dbfs=None, between_dbfs=-86.0)
    told = compare(before, after)
    assert told.strength.pick == "unknown"
    assert changes(told)["cured"] == 0


def test_gated_take_gives_no_noise_to_go_by() -> None:
    gate = RecordingWarning(code="gated", message="cut to silence")
    after = after_scan({}, level_dbfs=-24.0, noise_dbfs=-82.0)
    gated = dataclasses.replace(after.recordings[0], warnings=(gate,))
    told = compare(before_scan(), dataclasses.replace(after, recordings=(gated,)))
    assert changes(told)["cured"] == 0


def test_automatic_gain_hides_the_pick() -> None:
    ridden = RecordingWarning(code="gain-riding", message="the gain was changed")
    after = after_scan({})
    recording = dataclasses.replace(after.recordings[0], warnings=(ridden,))
    told = compare(
        with_high_fret(made(HIGH_FRET)), dataclasses.replace(after, recordings=(recording,))
    )
    assert told.strength.pick == "unknown"
    assert changes(told)["cured"] == 0
    assert "changed while it ran" in told.remarks[0]
    kept = dataclasses.replace(after_scan(), recordings=(recording,))
    assert changes(compare(before_scan(), kept))["cured"] == 9, "slight buzz elsewhere tells"


def test_digital_silence_before_the_first_note_tells_nothing() -> None:
    after = after_scan({}, level_dbfs=-24.0, noise_dbfs=-130.0)
    told = compare(before_scan(noise_dbfs=-118.0), after)
    assert told.strength.gain_change_db is None
    assert changes(told)["cured"] == 0


def test_slight_buzz_elsewhere_shows_equal_strength() -> None:
    """Quieter over the same noise, but what nobody touched buzzes as before."""
    told = compare(before_scan(), after_scan(level_dbfs=-18.0))
    assert told.strength.alike
    assert changes(told)["cured"] == 9
    assert "slight buzz elsewhere" in told.strength.sentence


def test_slight_buzz_gone_everywhere_is_suspicious() -> None:
    """Equally loud over equal noise, but one dressed fret cannot silence the fourth string."""
    told = compare(before_scan(), after_scan({}))
    assert told.strength.pick == "unknown"
    assert changes(told)["cured"] == 0


def test_raised_action_may_silence_everything() -> None:
    everywhere = made(HIGH_FRET | SLIGHT)
    low = finding(everywhere, "low action", strings=(1, 2, 3, 4), fret=12)
    told = compare(dataclasses.replace(everywhere, findings=(low,)), after_scan({}))
    assert told.strength.alike
    assert changes(told)["cured"] == 9
    assert told.findings[0].change == "cured"


def test_one_string_picked_softer_does_not_spoil_the_others() -> None:
    after = after_scan()
    soft = tuple(
        dataclasses.replace(n, attack_dbfs=n.attack_dbfs - 7.0) if n.note.string == 2 else n
        for n in after.notes
    )
    before = with_high_fret(made(HIGH_FRET))
    told = compare(before, dataclasses.replace(after, notes=soft))
    assert [change_at(told, s, 8) for s in (1, 2, 3)] == ["cured", "not comparable", "cured"]
    assert "String 2 was picked softer." in told.remarks
    assert not told.strength.alike


def test_one_note_picked_softer_is_not_cured() -> None:
    after = after_scan()
    soft = tuple(
        dataclasses.replace(n, attack_dbfs=n.attack_dbfs - 8.0)
        if (n.note.string, n.note.fret) == (1, 7)
        else n
        for n in after.notes
    )
    told = compare(before_scan(), dataclasses.replace(after, notes=soft))
    assert change_at(told, 1, 7) == "not comparable"
    assert change_at(told, 1, 8) == "cured"


def test_harder_take_shows_cures_but_no_new_faults() -> None:
    new: dict[tuple[int, int], Buzz] = {(4, 11): "buzz"}
    told = compare(before_scan(), after_scan(SLIGHT | new, level_dbfs=-6.0))
    assert told.strength.pick == "harder"
    assert changes(told)["cured"] == 9
    assert change_at(told, 4, 11) == "not comparable"


@pytest.mark.parametrize(
    ("level", "noise", "pick", "gain"),
    [
        (-12.0, -12.0, "alike", -12.0),
        (-12.0, 0.3, "softer", 0.0),
        (-12.0, -6.0, "softer", -6.0),
        (-6.0, -12.0, "harder", -12.0),
        (0.5, -0.5, "alike", 0.0),
        (0.0, 6.0, "unknown", None),
        (0.0, None, "alike", 0.0),
        (-6.0, None, "unknown", None),
    ],
)
def test_gain_and_pick_are_told_apart(
    level: float, noise: float | None, pick: str, gain: float | None
) -> None:
    found = told_apart(level, noise)
    assert (found[2], found[0]) == (pick, gain)


def test_noise_moves_in_all_bands_or_it_is_no_gain() -> None:
    assert noise_change_db((-80.0, -85.0), (-92.0, -97.5)) == pytest.approx(-12.25)
    assert noise_change_db((-80.0, -85.0), (-71.0, -85.4)) == 0.0, "a lamp hums, the gain stays"
    assert noise_change_db((-80.0, -85.0), (-71.0, -81.0)) is None
    assert noise_change_db((None, -85.0), (None, -85.0)) is None


def test_moved_sound_files_do_not_make_a_cure() -> None:
    """The same pair at another gain: told with its sound, not told without."""
    before = with_high_fret(made(HIGH_FRET))
    cured = []
    for noise in (-82.0, None):
        after = after_scan({}, level_dbfs=-24.0, noise_dbfs=noise, between_dbfs=-82.0)
        cured.append(changes(compare(before, after))["cured"])
    assert cured == [9, 0]
