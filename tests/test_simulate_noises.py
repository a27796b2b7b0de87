"""Sounds of the player that are not notes."""

from dataclasses import replace

import numpy as np
import pytest

from buzzscan.simulate.noises import add_human_noise
from buzzscan.simulate.performance import Event

RATE = 44100
WOUND = (4, 5, 6)
NOTE = Event(
    string=5, fret=3, direction="up", onset_s=1.5, duration_s=0.4,
    amplitude_mm=0.5, angle_deg=45.0, pluck_mm=90.0,
)  # fmt: skip


def _added(event: Event) -> np.ndarray:
    """Return what is added to a take of a low note."""
    t = np.arange(3 * RATE) / RATE
    signal = np.where(t >= 1.5, 0.3 * np.sin(2 * np.pi * 110.0 * t), 0.0)
    got = add_human_noise(
        signal, (event,), wound=WOUND, sample_rate_hz=RATE, rng=np.random.default_rng(2)
    )
    return np.asarray(got - signal)


def test_nothing_is_added_that_no_event_names() -> None:
    assert not _added(NOTE).any()


def test_only_wound_strings_squeak() -> None:
    assert _added(replace(NOTE, squeak=True)).any()
    assert not _added(replace(NOTE, squeak=True, string=1)).any()


def test_a_squeak_is_high_and_comes_before_its_note() -> None:
    x = _added(replace(NOTE, squeak=True))
    at = np.flatnonzero(x)
    assert 1.3 * RATE < at[0] < 1.5 * RATE
    power = np.abs(np.fft.rfft(x)) ** 2
    f = np.fft.rfftfreq(x.size, 1 / RATE)
    assert power[f > 800].sum() > 0.9 * power.sum()


def test_a_click_ends_where_the_note_begins() -> None:
    at = np.flatnonzero(_added(replace(NOTE, pick_noise=0.5)))
    assert at[-1] / RATE == pytest.approx(1.5, abs=0.001)
    assert 0.002 < (at[-1] - at[0]) / RATE < 0.013


def test_a_click_is_as_loud_as_asked() -> None:
    # re the loudest sample of the strings, 0.3
    assert np.abs(_added(replace(NOTE, pick_noise=0.5))).max() == pytest.approx(0.15, rel=0.01)


def test_talk_lasts_its_time_and_ends_before_the_note() -> None:
    at = np.flatnonzero(np.abs(_added(replace(NOTE, talk_s=1.0))) > 1e-6) / RATE
    assert 0.2 < at[0] < 0.4
    assert 1.0 < at[-1] < 1.5


def test_a_knock_is_short_and_low() -> None:
    x = _added(replace(NOTE, thump=True))
    at = np.flatnonzero(x)
    assert (at[-1] - at[0]) / RATE < 0.16
    power = np.abs(np.fft.rfft(x)) ** 2
    f = np.fft.rfftfreq(x.size, 1 / RATE)
    assert power[f < 800].sum() > 0.5 * power.sum()
