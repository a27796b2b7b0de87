"""The plan of a run: order, timing and the mistakes of a player."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from buzzscan.errors import GuitarError
from buzzscan.simulate.performance import Event, Performance, plan

STEADY = Performance(pace_sd=0.0, amplitude_sd=0.0, angle_sd_deg=0.0)


def _plan(
    performance: Performance, *, seed: int = 0, strings: int = 6, frets: int = 4
) -> list[Event]:
    rng = np.random.default_rng(seed)
    return list(plan(performance, n_strings=strings, frets=frets, rng=rng))


def _places(events: list[Event]) -> list[tuple[int, int, str]]:
    return [(e.string, e.fret, e.direction) for e in events]


def test_a_run_goes_up_and_down_each_string_thickest_first() -> None:
    got = _places(_plan(STEADY, strings=2, frets=2))
    up = [(2, f, "up") for f in (0, 1, 2)]
    assert got[:6] == [*up, (2, 2, "down"), (2, 1, "down"), (2, 0, "down")]
    assert got[6:9] == [(1, f, "up") for f in (0, 1, 2)]


def test_a_run_across_the_strings_comes_back_the_same_way() -> None:
    got = _places(_plan(Performance(order="across"), strings=2, frets=1))
    assert [p[:2] for p in got] == [(2, 0), (1, 0), (2, 1), (1, 1), (1, 1), (2, 1), (1, 0), (2, 0)]


def test_strings_frets_and_passes_can_be_chosen() -> None:
    how = Performance(strings=(3, 1), first_fret=2, last_fret=3, passes="up")
    assert _places(_plan(how)) == [(3, 2, "up"), (3, 3, "up"), (1, 2, "up"), (1, 3, "up")]


def test_notes_follow_each_other_at_the_pace_and_never_overlap() -> None:
    events = _plan(Performance(pace_s=0.4, pace_sd=0.0, strings=(1,)), frets=12)
    onsets = np.array([e.onset_s for e in events])
    np.testing.assert_allclose(np.diff(onsets), 0.4)
    ends = np.array([e.onset_s + e.duration_s for e in events])
    assert np.all(ends[:-1] <= onsets[1:])
    assert np.all(np.diff(onsets) - (ends - onsets)[:-1] <= 0.04)


def test_without_chances_nothing_goes_wrong() -> None:
    assert all(
        not e.marks and not e.squeak and not e.thump and e.talk_s == 0 for e in _plan(STEADY)
    )


@pytest.mark.parametrize("mark", ["repeat", "soft", "wrong", "cut"])
def test_mistakes_come_as_often_as_asked(mark: str) -> None:
    events = _plan(Performance(**{mark: 0.3}), frets=22)  # type: ignore[arg-type]
    played = 6 * 23 * 2
    count = sum(mark in e.marks for e in events)
    # binomial: 0.3 of 276, four standard deviations of 7.6
    assert abs(count - 0.3 * played) < 4 * np.sqrt(played * 0.3 * 0.7)


def test_a_wrong_note_is_one_fret_too_high_and_put_right() -> None:
    events = _plan(Performance(wrong=0.3, strings=(1,)), frets=22)
    for event, after in pairwise(events):
        if "wrong" in event.marks:
            assert (after.fret, after.direction) == (event.fret - 1, event.direction)


def test_a_soft_pick_is_soft() -> None:
    events = _plan(Performance(soft=0.5, amplitude_sd=0.0), frets=22)
    soft = {e.amplitude_mm for e in events if "soft" in e.marks}
    firm = {e.amplitude_mm for e in events if "soft" not in e.marks}
    assert max(soft) < 0.2 * min(firm)


def test_skipped_notes_are_not_there() -> None:
    events = _plan(Performance(skip=0.2), frets=22)
    assert 0.7 * 276 < len(events) < 0.9 * 276


def test_a_string_begun_again_is_played_from_its_start() -> None:
    events = _plan(Performance(restart=1.0, strings=(2,), passes="up"), frets=12)
    again = next(i for i, e in enumerate(events) if "restart" in e.marks)
    assert 2 <= again < 8
    assert [e.fret for e in events[:again]] == list(range(again))
    assert [e.fret for e in events[again:]] == list(range(13))
    assert events[again].onset_s - events[again - 1].onset_s > 0.8


def test_a_note_left_ringing_is_the_last_of_its_string() -> None:
    events = _plan(Performance(ring_over=1.0), strings=3, frets=5)
    ringing = [i for i, e in enumerate(events) if e.over_s > 0.0]
    assert len(ringing) == 2
    for i in ringing:
        assert events[i].string != events[i + 1].string
        assert "ring over" in events[i].marks


def test_talk_comes_before_a_new_string_and_takes_its_time() -> None:
    events = _plan(Performance(talk=1.0), strings=3, frets=3)
    talked = [i for i, e in enumerate(events) if e.talk_s > 0.0]
    assert len(talked) == 2
    for i in talked:
        silence = events[i].onset_s - events[i - 1].onset_s - events[i - 1].duration_s
        assert silence > events[i].talk_s


def test_a_pick_towards_the_neck_has_a_negative_angle() -> None:
    assert all(e.angle_deg < 0.0 for e in _plan(Performance(towards=1.0)))
    assert all(e.angle_deg > 0.0 for e in _plan(Performance(towards=0.0)))


def test_the_finger_changes_fretted_notes_only() -> None:
    events = _plan(Performance(finger_sd=0.3), frets=12)
    assert all(e.end_loss == 1.0 for e in events if e.fret == 0)
    assert np.std([np.log(e.end_loss) for e in events if e.fret > 0]) == pytest.approx(0.3, rel=0.3)


def test_picks_slip_off_faster_and_slower_where_the_hand_does() -> None:
    even = _plan(Performance(release_s=3e-4), frets=12)
    assert {e.release_s for e in even} == {3e-4}
    uneven = _plan(Performance(release_s=3e-4, release_sd=0.4), frets=12)
    over = np.log([e.release_s / 3e-4 for e in uneven])
    assert np.std(over) == pytest.approx(0.4, rel=0.3)
    assert abs(np.mean(over)) < 0.2


def test_nothing_sounds_below_a_capo() -> None:
    events = plan(Performance(), n_strings=2, frets=5, capo=2, rng=np.random.default_rng(0))
    assert {e.fret for e in events} == {2, 3, 4, 5}


@pytest.mark.parametrize(
    ("performance", "message"),
    [
        (Performance(strings=(7,)), "string 7 is not on this guitar, need 1 to 6"),
        (Performance(first_fret=6, last_fret=5), "first_fret is 6, need at most .* 4"),
        (Performance(first_fret=30), "first_fret is 30, need at most .* 4"),
    ],
)
def test_a_run_must_be_on_the_guitar(performance: Performance, message: str) -> None:
    with pytest.raises(GuitarError, match=message):
        _plan(performance)
