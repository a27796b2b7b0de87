"""Pickup, room, noise and what recorders do to a signal."""

from dataclasses import replace

import numpy as np
import pytest

from buzzscan.simulate.chain import Chain, colour, record

RATE = 44100
QUIET = Chain(noise_dbfs=-140.0)
SECOND = np.arange(RATE) / RATE


def _tone(hz: float) -> np.ndarray:
    return np.asarray(np.sin(2 * np.pi * hz * SECOND))


def _rms_db(x: np.ndarray) -> float:
    return 10 * float(np.log10(np.mean(np.square(x, dtype=np.float64))))


def _recorded(signal: np.ndarray, chain: Chain) -> np.ndarray:
    return record(signal, chain, rng=np.random.default_rng(1))


def test_the_highest_sample_has_the_level_asked_for() -> None:
    got = _recorded(_tone(440.0), replace(QUIET, peak_dbfs=-6.0))
    assert 20 * np.log10(np.abs(got).max()) == pytest.approx(-6.0, abs=0.01)


@pytest.mark.parametrize("kind", ["white", "pink"])
def test_noise_has_the_level_asked_for(kind: str) -> None:
    chain = Chain(noise_dbfs=-40.0, noise=kind)  # type: ignore[arg-type]
    assert _rms_db(_recorded(np.zeros(RATE), chain)) == pytest.approx(-40.0, abs=0.1)


def test_pink_noise_falls_by_three_decibels_per_octave() -> None:
    # definition: equal power per octave; 1 dB for the noise itself and three poles to a decade
    x = _recorded(np.zeros(8 * RATE), Chain(noise_dbfs=-30.0, noise="pink"))
    power = np.abs(np.fft.rfft(x)) ** 2
    f = np.fft.rfftfreq(x.size, 1 / RATE)
    octaves = [
        power[(f >= lo) & (f < 2 * lo)].sum() for lo in (62.5, 125, 250, 500, 1000, 2000, 4000)
    ]
    assert np.ptp(10 * np.log10(octaves)) < 1.0


def test_hum_stands_on_its_harmonics() -> None:
    x = _recorded(np.zeros(RATE), Chain(noise_dbfs=-140.0, hum_dbfs=-40.0, hum_hz=60.0))
    spectrum = np.abs(np.fft.rfft(x)) / (RATE / 2)
    assert 20 * np.log10(spectrum[60]) == pytest.approx(-40.0, abs=0.1)
    assert spectrum[180] > 0.3 * spectrum[60]
    assert spectrum[61] < 1e-3 * spectrum[60]


def test_a_clipped_take_is_flat_at_full_scale() -> None:
    clean = _recorded(_tone(440.0), QUIET)
    clipped = _recorded(_tone(440.0), replace(QUIET, clip_db=6.0))
    assert np.mean(np.abs(clipped) == 1.0) > 0.5
    assert np.mean(np.abs(clean) == 1.0) == 0.0


def test_automatic_gain_lifts_what_is_quiet() -> None:
    signal = _tone(440.0) * np.where(SECOND < 0.3, 1.0, 0.05)
    plain = _recorded(signal, QUIET)
    ridden = _recorded(signal, replace(QUIET, agc_s=0.1))
    end = slice(int(0.9 * RATE), None)
    assert _rms_db(ridden[end]) > _rms_db(plain[end]) + 15.0
    start = slice(int(0.1 * RATE), int(0.2 * RATE))
    assert _rms_db(ridden[start]) == pytest.approx(_rms_db(plain[start]), abs=0.5)


def test_a_pickup_resonates_where_it_is_said_to() -> None:
    chain = Chain(source="pickup", pickup_hz=3600.0, pickup_q=2.0)
    low, at, above = (
        _rms_db(colour(chain, _tone(f), seed=1)[2000:]) for f in (200.0, 3600.0, 9000.0)
    )
    # second-order low-pass: gain Q at its resonance
    assert at - low == pytest.approx(20 * np.log10(2.0), abs=0.2)
    assert above < low - 10.0


def test_a_poor_recorder_passes_its_band_only() -> None:
    chain = Chain(source="bridge", band_hz=(300.0, 3400.0))
    inside, below, above = (
        _rms_db(colour(chain, _tone(f), seed=1)[8000:]) for f in (1000.0, 60.0, 9000.0)
    )
    assert inside == pytest.approx(-3.0, abs=0.2)
    assert below < inside - 35.0
    assert above < inside - 20.0


def test_a_room_rings_for_its_reverberation_time() -> None:
    # definition: 60 dB in T60; fitted between -5 and -25 dB of the backward integral (ISO 3382-1)
    chain = Chain(source="room", room_t60_s=0.5, room_db=10.0)
    click = np.zeros(RATE)
    click[0] = 1.0
    left = np.cumsum(colour(chain, click, seed=2)[::-1] ** 2)[::-1]
    level = 10 * np.log10(left / left[0] + 1e-12)
    fit = (level < -5.0) & (level > -25.0)
    slope = np.polyfit(SECOND[fit], level[fit], 1)[0]
    # 10 %: the body's own ring and one draw of a noise tail
    assert -60.0 / slope == pytest.approx(0.5, rel=0.1)


def test_colour_is_linear() -> None:
    # what contact adds is known only because the difference of two notes passes unchanged
    chain = Chain(source="room", band_hz=(100.0, 9000.0))
    a, b = _tone(300.0), _tone(2000.0)
    np.testing.assert_allclose(
        colour(chain, a, seed=3) - colour(chain, b, seed=3), colour(chain, a - b, seed=3), atol=1e-9
    )
