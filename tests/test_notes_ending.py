"""Where notes end, on powers made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.notes.ending import attack_levels, find_endings

STEP_S = 0.005


def power(*levels: tuple[float, float]) -> np.ndarray:
    """Return power that keeps to each level in dB for some seconds."""
    parts = [np.full(round(s / STEP_S), 10.0 ** (db / 10.0), np.float32) for s, db in levels]
    return np.concatenate(parts)


def ending(*levels: tuple[float, float], next_s: float = 2.0) -> tuple[float, bool]:
    end, _ = find_endings(
        power(*levels),
        np.array([0.5, next_s]),
        duration_s=3.0,
        noise_dbfs=-70.0,
        step_s=STEP_S,
    )
    return end.end_s, end.stopped


def test_a_sudden_drop_is_a_stop() -> None:
    end_s, stopped = ending((0.5, -70), (0.6, -20), (0.9, -45), (1.0, -20))
    assert stopped
    assert end_s == pytest.approx(1.1, abs=0.025)  # 20 ms of smoothing, and a step


def test_a_note_that_rings_on_ends_with_the_next() -> None:
    assert ending((0.5, -70), (1.5, -20), (1.0, -20)) == (2.0, False)


def test_a_note_that_sinks_into_the_noise_ends_there() -> None:
    falling = [(0.05, -20.0 - k) for k in range(49)]  # 20 dB/s: no stop
    end_s, stopped = ending((0.5, -70), *falling, next_s=2.9)
    assert not stopped
    assert end_s == pytest.approx(2.85, abs=0.06)


def test_a_dip_that_comes_back_is_no_stop() -> None:
    assert ending((0.5, -70), (0.5, -20), (0.1, -35), (0.9, -20), (1.0, -20)) == (2.0, False)


KNOCK = ((0.5, -70), (0.08, -20))


@pytest.mark.parametrize(
    ("then", "stopped"),
    [
        ([(0.1, -34.0 - k) for k in range(15)], False),  # 10 dB/s, as strings fall
        (
            [(0.1, -34.0 - 5.0 * k) for k in range(7)] + [(0.8, -69.0)],
            True,
        ),  # 50 dB/s: it was stopped
        ([(1.5, -45.0)], True),  # what the other strings do
        ([(1.5, -35.0)], True),  # hum
        ([(0.08, -34.0), (1.4, -62.0)], True),  # noise
    ],
)
def test_a_note_that_rings_on_under_the_knock_of_its_pick_is_not_stopped(
    then: list[tuple[float, float]], *, stopped: bool
) -> None:
    assert ending(*KNOCK, *then, (1.0, -20))[1] == stopped


@pytest.mark.parametrize("gap_s", [0.03, 0.08, 0.15, 0.3])
def test_a_stop_just_before_the_next_note_or_the_end_is_found(gap_s: float) -> None:
    end_s, stopped = ending(*KNOCK, (gap_s, -60.0), (1.0, -20), next_s=0.58 + gap_s)
    assert stopped
    assert end_s <= 0.58 + gap_s
    (last,) = find_endings(
        power(*KNOCK, (gap_s, -60.0)),
        np.array([0.5]),
        duration_s=0.58 + gap_s,
        noise_dbfs=-70.0,
        step_s=STEP_S,
    )
    assert last.end_s <= 0.58 + gap_s


def test_the_level_of_an_attack_is_its_highest() -> None:
    levels = attack_levels(
        power((0.5, -60), (0.01, -30), (0.02, -12), (0.47, -40)),
        np.array([0.5, 0.6]),
        step_s=STEP_S,
    )
    assert levels == pytest.approx([-12.0, -40.0], abs=0.01)
