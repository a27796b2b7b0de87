"""What spoils measures is named with what it spoils; good takes have no warning."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from buzzscan.recording import Recording, RecordingWarning, recording_from_samples

Wave = npt.NDArray[np.float64]
MakeRun = Callable[..., Wave]
RATE_HZ = 44100


def judged(samples: Wave, rate_hz: int = RATE_HZ) -> Recording:
    return recording_from_samples(samples, rate_hz)


def warned(samples: Wave, code: str, rate_hz: int = RATE_HZ) -> RecordingWarning:
    recording = judged(samples, rate_hz)
    found = [w for w in recording.warnings if w.code == code]
    assert found, f"no {code} among {[w.code for w in recording.warnings]}"
    return found[0]


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"note_s": 0.2, "gap_s": 0.0},
        {"note_s": 1.5, "gap_s": 0.5, "frets": (0, 4, 8)},
        {"noise_dbfs": -50.0},
        {"noise_dbfs": -95.0, "peak": 0.05},
        {"open_midi": (28,), "fall_db_per_s": 8.0},
        {"open_midi": (40,), "fall_db_per_s": 40.0},
        {"rate_hz": 48000},
        {"rate_hz": 22050},
    ],
)
def test_good_takes_have_no_warning(make_run: MakeRun, options: dict[str, float]) -> None:
    rate_hz = int(options.get("rate_hz", RATE_HZ))
    assert judged(make_run(**options), rate_hz).warnings == ()


def test_steps_of_16_bits_are_no_fault(make_run: MakeRun) -> None:
    assert judged(np.round(make_run(peak=0.1) * 32768) / 32768).warnings == ()


@pytest.mark.parametrize("ceiling", [0.999, 0.3, 0.05])
def test_clipping_is_seen_at_any_level(make_run: MakeRun, ceiling: float) -> None:
    run = make_run(noise_dbfs=None)
    run /= np.abs(run).max()
    for over in (1.5, 4.0):
        warning = warned(np.clip(run * over, -1, 1) * ceiling, "clipped")
        assert f"peaks are cut off at {20 * np.log10(ceiling):.1f} dBFS" in warning.message
        assert warning.spoils == ("buzz_db", "contact")


def test_clipped_attacks_spoil_nothing(make_run: MakeRun) -> None:
    run = make_run(frets=(0, 5, 9), note_s=1.5, noise_dbfs=None, fall_db_per_s=60.0)
    run /= np.abs(run).max()
    warning = warned(np.clip(run * 1.3, -1, 1), "clipped")
    assert "only attacks are hit" in warning.message
    assert warning.spoils == ()


def test_one_polarity_that_clips_is_enough(make_run: MakeRun) -> None:
    run = make_run(noise_dbfs=None)
    run /= np.abs(run).max()
    assert warned(np.clip(run, -1.0, 0.4), "clipped")


def follow(samples: Wave, attack_s: float, release_s: float) -> Wave:
    """Return the envelope that a level detector hears."""
    block = round(0.005 * RATE_HZ)
    peaks = np.abs(samples[: len(samples) // block * block]).reshape(-1, block).max(axis=1)
    rise, fall = np.exp(-0.005 / attack_s), np.exp(-0.005 / release_s)
    level, levels = 0.0, []
    for peak in peaks:
        keep = rise if peak > level else fall
        level = keep * level + (1.0 - keep) * float(peak)
        levels.append(level)
    at = (np.arange(len(peaks)) + 0.5) * block
    return np.interp(np.arange(len(samples)), at, levels)


@pytest.mark.parametrize("release_s", [0.1, 0.5])
@pytest.mark.parametrize("noise_dbfs", [-75.0, -55.0])
def test_automatic_gain_spoils_decay(
    make_run: MakeRun, release_s: float, noise_dbfs: float
) -> None:
    run = make_run(note_s=0.8, gap_s=0.3, frets=(0, 3, 6, 9), noise_dbfs=noise_dbfs)
    run = np.concatenate([run, run])
    gain = np.minimum(0.2 / np.maximum(follow(run, 0.01, release_s), 1e-9), 20.0)
    warning = warned(np.clip(run * gain, -1, 1), "gain-riding")
    assert warning.spoils == ("decay_db_per_s",)
    assert "lower under notes than between them, limit 3" in warning.message


def test_a_compressor_spoils_decay(make_run: MakeRun) -> None:
    run = make_run(note_s=0.8, gap_s=0.3, frets=(0, 3, 6, 9))
    run = np.concatenate([run, run])
    level_db = 20 * np.log10(np.maximum(follow(run, 0.005, 0.15), 1e-9))
    pressed = run * 10 ** (np.minimum(-30.0 - level_db, 0.0) * 0.75 / 20)
    assert warned(pressed * 4, "gain-riding").spoils == ("decay_db_per_s",)


def test_a_gate_is_named_and_spoils_nothing(make_run: MakeRun) -> None:
    run = make_run(note_s=0.8, gap_s=0.3, frets=(0, 3, 6, 9))
    gated = run * (follow(run, 0.001, 0.02) > 10 ** (-30 / 20))
    warning = warned(gated, "gated")
    # Eight notes; a gate that chatters at the end of one closes in steps.
    n_closings = int(warning.message.split("silence ")[1].split(" times")[0])
    assert 6 <= n_closings <= 8
    assert warning.spoils == ()


@pytest.mark.parametrize("click_s", [0.025, 0.1])
def test_a_count_in_between_digital_silences_is_no_gate(make_run: MakeRun, click_s: float) -> None:
    run = make_run(note_s=0.8, gap_s=0.3, frets=(0, 3, 6, 9))
    beat = np.zeros(RATE_HZ // 2)
    n = round(click_s * RATE_HZ)
    beat[:n] = 0.5 * np.sin(2 * np.pi * 1500.0 * np.arange(n) / RATE_HZ)
    counted_in = np.concatenate([*[beat] * 8, run])
    assert "gated" not in {w.code for w in judged(counted_in, RATE_HZ).warnings}


def test_noise_hides_and_then_spoils_buzz(make_run: MakeRun) -> None:
    run = make_run(noise_dbfs=None)
    rng = np.random.default_rng(2)
    some = warned(run + 10 ** (-38 / 20) * rng.standard_normal(len(run)), "noisy")
    assert "slight buzz is hidden" in some.message
    assert some.spoils == ()
    much = warned(run + 10 ** (-18 / 20) * rng.standard_normal(len(run)), "noisy")
    assert much.spoils == ("buzz_db", "contact")


@pytest.mark.parametrize("mains_hz", [50, 60])
@pytest.mark.parametrize("options", [{}, {"note_s": 0.25, "gap_s": 0.0}])
def test_hum_is_named_by_its_frequency(
    make_run: MakeRun, mains_hz: int, options: dict[str, float]
) -> None:
    run = make_run(**options, frets=tuple(range(14)))
    t = np.arange(len(run)) / RATE_HZ
    # A grid may be off by 0.2 Hz.
    lines = sum(np.sin(2 * np.pi * (mains_hz + 0.05) * k * t + k) / k for k in range(1, 8))
    warning = warned(run + 0.004 * lines, "hum")
    assert f"hum of {mains_hz} Hz mains" in warning.message
    assert warning.spoils == ()
    power_db = 10 * np.log10(0.5 * sum((0.004 / k) ** 2 for k in range(1, 8)))
    level_db = float(warning.message.split(" at ")[1].split(" dBFS")[0])
    assert level_db == pytest.approx(power_db, abs=2.0)


def test_a_telephone_spoils_how_much_buzz_there_is(make_run: MakeRun) -> None:
    run = make_run(noise_dbfs=-60.0)
    band = signal.butter(10, [300, 3400], "band", fs=RATE_HZ, output="sos")
    warning = warned(signal.sosfilt(band, run), "dull")
    assert warning.spoils == ("buzz_db",)
    # The filter is 3 dB down at 3.4 kHz and bends over a quarter of an octave below.
    assert 2.7 <= float(warning.message.split("ends at ")[1].split(" kHz")[0]) <= 3.5


def test_a_very_low_band_spoils_contact_as_well(make_run: MakeRun) -> None:
    low = signal.ellip(8, 0.5, 80, 2000, fs=RATE_HZ, output="sos")
    warning = warned(signal.sosfilt(low, make_run(noise_dbfs=-60.0)), "dull")
    assert warning.spoils == ("buzz_db", "contact")


@pytest.mark.parametrize(
    ("rate_hz", "spoils"), [(8000, ("buzz_db",)), (11025, ()), (4000, ("buzz_db", "contact"))]
)
def test_low_rates_are_named(make_run: MakeRun, rate_hz: int, spoils: tuple[str, ...]) -> None:
    warning = warned(make_run(rate_hz=rate_hz), "dull", rate_hz)
    assert f"the sample rate of {rate_hz} Hz" in warning.message
    assert warning.spoils == spoils


def test_a_dark_pickup_is_no_fault(make_run: MakeRun) -> None:
    rng = np.random.default_rng(4)
    for cutoff_hz in (800, 1500, 3000):
        tone = signal.butter(4, cutoff_hz, fs=RATE_HZ, output="sos")
        run = signal.sosfilt(tone, make_run(noise_dbfs=None, frets=(0, 3, 6, 9)))
        run += 10 ** (-80 / 20) * rng.standard_normal(len(run))
        assert judged(run).warnings == ()


def test_a_low_level_is_named(make_run: MakeRun) -> None:
    warning = warned(make_run(peak=0.005, noise_dbfs=-110.0), "low-level")
    assert "need -36" in warning.message
