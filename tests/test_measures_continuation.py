"""An attack beside what the note's later sound says it was."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.measures.continuation import N_FIGURES, continuation_figures

RATE_HZ = 44100
FIRST_HZ, STIFFNESS, N_PARTIALS = 196.0, 1e-4, 22
N_LOOKS, N_GROUPS = 3, 8
RATES_PER_S = 2.0 + 0.4 * np.arange(N_PARTIALS)
STRUCK_AT_S = 0.04
FloatArray = npt.NDArray[np.float64]


def frequencies() -> FloatArray:
    n = np.arange(1, N_PARTIALS + 1)
    return np.asarray(FIRST_HZ * n * np.sqrt((1.0 + STIFFNESS * n**2) / (1.0 + STIFFNESS)))


def note(
    *,
    struck: int | None = None,
    lost_db: float = 6.0,
    late_radians: float = 0.0,
    length_s: float = 0.3,
    rate_hz: int = RATE_HZ,
) -> FloatArray:
    """Return damped partials, one of them weaker after a strike, all late early on."""
    t = np.arange(round(length_s * rate_hz)) / rate_hz
    out = np.zeros(t.size)
    for i, f_hz in enumerate(frequencies()):
        level = 0.3 / (i + 1) * np.exp(-RATES_PER_S[i] * t)
        if struck == i + 1:
            level = np.where(t < STRUCK_AT_S, level, level * 10.0 ** (-lost_db / 20.0))
        # all of it before the later sound, and so by one angle for each look at the attack
        late = late_radians * (i + 1) * (t < STRUCK_AT_S)
        out += level * np.cos(2.0 * np.pi * f_hz * t + i + late)
    return out


def figures(sound: FloatArray, *, rate_hz: int = RATE_HZ) -> FloatArray:
    return np.asarray(
        continuation_figures(
            sound, sample_rate_hz=rate_hz, first_partial_hz=FIRST_HZ, inharmonicity=STIFFNESS
        )
    )


def departures(sound: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the figures of each look, shape (looks, kinds, groups), and the angles."""
    looks = figures(sound)[: -2 * N_GROUPS].reshape(N_LOOKS, -1)
    return looks[:, :-1].reshape(N_LOOKS, -1, N_GROUPS), looks[:, -1]


def test_a_string_that_touches_nothing_goes_on_as_it_began() -> None:
    looks, turn = departures(note())
    # what a look of three periods lets through of the partials beside each
    assert float(looks[:, 0].max()) < -25.0
    assert float(looks[:, 2].max()) < -35.0
    np.testing.assert_array_equal(turn, 0.0)


@pytest.mark.parametrize(("struck", "group"), [(1, 0), (3, 2), (7, 4), (15, 6)])
def test_a_partial_that_a_strike_changes_departs_in_its_group(struck: int, group: int) -> None:
    plain, changed = (departures(note(struck=s))[0] for s in (None, struck))
    risen = changed[0, 0] - plain[0, 0]
    assert int(risen.argmax()) == group
    assert float(risen[group]) > 10.0


def test_what_departs_is_of_the_size_of_the_change() -> None:
    looks, _ = departures(note(struck=1, lost_db=6.0206))
    # before the strike twice what came after: |2 − 1|²/(2² + 1²)
    assert float(looks[0, 0, 0]) == pytest.approx(10.0 * np.log10(1.0 / 5.0), abs=0.6)
    assert float(looks[0, 3, 0]) < float(looks[0, 0, 0])


def test_a_string_that_comes_late_by_one_angle_is_allowed_for() -> None:
    looks, turn = departures(note(late_radians=0.2))
    assert float(turn[0]) == pytest.approx(0.2, abs=0.03)
    assert float(looks[0, 0, 3:].min()) > -8.0
    assert float(looks[0, 1, 3:6].max()) < -15.0


def test_fall_and_share_of_the_later_sound_are_told() -> None:
    share, fall = figures(note())[-2 * N_GROUPS :].reshape(2, N_GROUPS)
    # 50 ms between the looks
    expected = -20.0 / np.log(10.0) * RATES_PER_S[:3] * 0.05
    np.testing.assert_allclose(fall[:3], expected, atol=0.1)
    assert int(share.argmax()) == 0
    assert float(np.sum(10.0 ** (share[:7] / 10.0))) == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("gain", [1e-3, -1.0, 3.0])
def test_gain_and_polarity_change_nothing(gain: float) -> None:
    np.testing.assert_allclose(
        figures(gain * note(struck=3)), figures(note(struck=3)), atol=0.01, rtol=1e-3
    )


def test_a_note_too_short_for_two_looks_tells_nothing() -> None:
    assert np.isnan(figures(note(length_s=0.105))).all()
    assert np.isfinite(figures(note(length_s=0.12))).all()


@pytest.mark.parametrize("rate_hz", [8000, 22050, 96000])
def test_any_sample_rate_tells_the_same_of_what_it_reaches(rate_hz: int) -> None:
    there = figures(note(struck=3, rate_hz=rate_hz), rate_hz=rate_hz)
    usual = figures(note(struck=3))
    assert there.shape == (N_FIGURES,)
    # groups of partials 1–3, of their own power, in the first look
    np.testing.assert_allclose(there[2], usual[2], atol=0.5)


def test_groups_that_the_recording_does_not_reach_are_0() -> None:
    there = figures(note(rate_hz=4000), rate_hz=4000)
    of_kind = there[: 4 * N_GROUPS].reshape(4, N_GROUPS)
    # 1.8 kHz is reached by partial 9 of 196 Hz
    assert (of_kind[:, 6:] == 0.0).all()
    assert (of_kind[:, :5] != 0.0).all()


def test_silence_is_no_trouble() -> None:
    assert np.isfinite(figures(np.zeros(RATE_HZ // 2))).all()
