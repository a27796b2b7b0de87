"""The key reads in grey, to colour-blind eyes and as letters; traces show what they should."""

from __future__ import annotations

import base64
import io
import itertools

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

from buzzscan.plots import traces
from buzzscan.plots.neckmap import MapCell, MapLayer, MapRow, draw_map
from buzzscan.plots.tones import LAYERS, PAPER, Layer, Tone, tone_of, tones_of

# Machado, Oliveira & Fernandes, "A Physiologically-based Model for Simulation of Color Vision
# Deficiency", IEEE TVCG 15(6), 2009, severity 1.0, for linear RGB. Values from memory; each row
# sums to 1, which keeps greys grey.
MACHADO = {
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}
ALL_LAYERS: tuple[Layer, ...] = (*LAYERS, "change")
LEAST_STEP = 10.0
"""Difference in CIE L* or ΔE*ab between steps: about ten times what can just be seen (ΔE ≈ 1)."""
LEAST_CONTRAST = 4.5
"""WCAG 2.2, success criterion 1.4.3, for text of normal size."""


def linear(colour: str) -> npt.NDArray[np.float64]:
    """Return linear RGB (IEC 61966-2-1) of ``#rrggbb``."""
    coded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    return float(linear(colour) @ (0.2126, 0.7152, 0.0722))


def lab(rgb: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return CIE 1976 L*a*b* (D65) of linear RGB."""
    to_xyz = np.array(
        ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
    )
    share = to_xyz @ np.clip(rgb, 0.0, 1.0) / (0.9505, 1.0, 1.089)
    f = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array((116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])))


def verdicts(layer: Layer) -> tuple[Tone, ...]:
    return tuple(
        t for t in tones_of(layer) if t.key not in {"unjudged", "unplayed", "incomparable"}
    )


@pytest.mark.parametrize("layer", ALL_LAYERS)
def test_lightness_falls_from_harmless_to_bad(layer: Layer) -> None:
    lightness = [lab(linear(tone.fill))[0] for tone in verdicts(layer)]
    assert np.all(np.diff(lightness) <= -LEAST_STEP), lightness


@pytest.mark.parametrize("layer", ALL_LAYERS)
@pytest.mark.parametrize("kind", MACHADO)
def test_steps_differ_for_colour_blind_eyes(layer: Layer, kind: str) -> None:
    seen = [lab(np.array(MACHADO[kind]) @ linear(tone.fill)) for tone in verdicts(layer)]
    for one, other in itertools.combinations(seen, 2):
        assert np.linalg.norm(one - other) >= LEAST_STEP


@pytest.mark.parametrize("layer", ALL_LAYERS)
def test_text_contrasts_with_its_cell(layer: Layer) -> None:
    for tone in tones_of(layer):
        bright, dark = sorted((luminance(tone.fill), luminance(tone.ink)), reverse=True)
        assert (bright + 0.05) / (dark + 0.05) >= LEAST_CONTRAST, tone.key


@pytest.mark.parametrize("layer", ALL_LAYERS)
def test_each_verdict_has_its_own_mark(layer: Layer) -> None:
    marks = [tone.mark for tone in tones_of(layer)]
    letters = [tone.letter for tone in verdicts(layer)]
    assert len(set(marks)) == len(marks)
    assert len(set(letters)) == len(letters)
    assert all(letter.isascii() for letter in letters)


def test_missing_verdict_tells_played_from_unplayed() -> None:
    assert tone_of("buzz", None, played=True).word == "not judged"
    assert tone_of("buzz", None, played=False).word == "not played"
    with pytest.raises(KeyError, match="no verdict 'dead'"):
        tone_of("buzz", "dead", played=True)


def test_outline_holds_the_extremes_of_each_stretch() -> None:
    samples = np.zeros(1000, np.float32)
    samples[150], samples[160] = 0.7, -0.4
    seen = traces.outline(samples, n_columns=10)
    assert seen.shape == (10, 2)
    np.testing.assert_allclose(seen[1], (-0.4, 0.7))
    assert np.all(seen[2:] == 0.0)
    assert traces.outline(samples[:3], n_columns=10).shape == (10, 2)


@pytest.mark.parametrize("frequency_hz", [110.0, 440.0, 3000.0])
def test_spectrogram_is_darkest_at_the_frequency(frequency_hz: float) -> None:
    rate_hz, n_rows = 22050, 56
    t = np.arange(rate_hz // 2) / rate_hz
    samples = np.sin(2 * np.pi * frequency_hz * t).astype(np.float32)
    levels = traces.spectrogram(samples, rate_hz=rate_hz, length_s=1.0, n_columns=40, n_rows=n_rows)
    row = int(levels[:, 10].argmax())
    share = (n_rows - 1 - row + 0.5) / n_rows
    seen_hz = (
        traces.SPECTROGRAM_LOW_HZ
        * (traces.SPECTROGRAM_HIGH_HZ / traces.SPECTROGRAM_LOW_HZ) ** share
    )
    # The window is 46 ms: its main lobe reaches 43 Hz to either side.
    assert abs(seen_hz - frequency_hz) < 43.0 + 0.05 * frequency_hz
    assert levels.max() == pytest.approx(0.0, abs=1e-6)
    assert np.all(levels[:, 21:] == -traces.SPECTROGRAM_RANGE_DB), "empty beyond the note"


def test_spectrogram_is_empty_above_half_the_sample_rate() -> None:
    noise = np.random.default_rng(1).normal(size=4000).astype(np.float32)
    levels = traces.spectrogram(noise, rate_hz=8000, length_s=0.5, n_columns=20, n_rows=56)
    top = round(56 * np.log(8000 / 4000) / np.log(8000 / 80))
    assert np.all(levels[: top - 1] == -traces.SPECTROGRAM_RANGE_DB)
    assert np.all(levels[top + 2 :] > -traces.SPECTROGRAM_RANGE_DB)


def test_partial_level_falls_at_the_rate_of_the_partial() -> None:
    rate_hz, fall_db_per_s, pitch_hz = 22050, 20.0, 196.0
    t = np.arange(rate_hz) / rate_hz
    own = 10 ** (-fall_db_per_s * t / 20) * np.sin(2 * np.pi * pitch_hz * t)
    other = np.sin(2 * np.pi * 1.625 * pitch_hz * t)  # as loud, and does not fall
    level = traces.partial_level_db(
        (own + other).astype(np.float32),
        rate_hz=rate_hz,
        pitch_hz=pitch_hz,
        length_s=1.0,
        n_columns=100,
    )
    times = (np.arange(5, 50) + 0.5) / 100.0
    slope, at_zero = np.polyfit(times, level[5:50], 1)
    assert slope == pytest.approx(-fall_db_per_s, abs=0.5)
    # What leaks of the other through the Hann window is below −31 dB (its first side lobe), so
    # 10 dB down the curve it moves it by 0.8 dB at most.
    assert np.abs(level[5:50] - at_zero - slope * times).max() < 1.0


def test_partial_level_is_unknown_beyond_the_note() -> None:
    tone = np.sin(np.arange(2205) * 0.1).astype(np.float32)
    level = traces.partial_level_db(tone, rate_hz=22050, pitch_hz=350.0, length_s=0.2, n_columns=20)
    assert np.isfinite(level[:10]).all()
    assert np.isnan(level[10:]).all()


def test_png_is_read_back_by_another_library() -> None:
    levels = np.arange(15, dtype=np.uint8).reshape(3, 5)
    uri = traces.png_uri(levels, traces.SHADES)
    raw = base64.b64decode(uri.removeprefix("data:image/png;base64,"))
    picture = np.asarray(Image.open(io.BytesIO(raw)).convert("RGB"))
    np.testing.assert_array_equal(picture, np.array(traces.SHADES)[levels])


def test_shades_darken_with_level() -> None:
    sums = [sum(shade) for shade in traces.SHADES]
    assert sums == sorted(sums, reverse=True)
    steps = traces.shaded(np.array((-90.0, -60.0, -30.0, 0.0), np.float32))
    assert steps.tolist() == [0, 0, 8, 15]


def test_map_draws_every_mark_and_no_value_of_harmless_cells() -> None:
    from matplotlib.figure import Figure

    tones = tones_of("buzz")
    cells = tuple(
        MapCell(tone=tone, value=f"−{i}1", spoken=tone.word) for i, tone in enumerate(tones)
    )
    layer = MapLayer(
        key="buzz",
        title="Buzz",
        caption="",
        tones=tones,
        rows=(MapRow(string=1, label="1 $E_4$", cells=cells),),
        fret_labels=tuple(str(i) for i in range(len(tones))),
        open_column=0,
        foot=("",) * len(tones),
        foot_title="",
    )
    axes = Figure(facecolor=PAPER).add_axes((0, 0, 1, 1))
    draw_map(axes, layer, cell_pt=20.0)
    texts = [text.get_text() for text in axes.texts]
    assert {"s", "B", "X", "?"} <= set(texts)
    assert "−11" in texts
    assert "−01" not in texts
    assert not any(text.get_parse_math() for text in axes.texts), "names are no formulae"
