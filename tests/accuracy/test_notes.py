"""Accuracy of onsets and places over varied simulated takes, beside librosa's onset detector.

The table is printed (``pytest -s``). Each kind of take is played on guitars drawn at random; set
``BUZZSCAN_CASES`` to draw more of each kind than the two that fit a short check.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.guitar import Guitar
from buzzscan.notes import find_notes
from buzzscan.recording import Recording
from buzzscan.simulate import Chain, Performance, SimGuitar, Take, simulate_take

WINDOW_S = 0.025
"""Onsets farther from the truth than this do not count: a quarter of a frame of a fast note."""
N_CASES = int(os.environ.get("BUZZSCAN_CASES", "2"))
LEAST_F, LEAST_PLACED, MOST_BIAS_S = 0.98, 0.99, 0.005
"""What the project promises for every kind of take."""

TUNINGS = {
    "tuned otherwise": (
        ("D2", "A2", "D3", "G3", "B3", "E4"),
        ("D2", "A2", "D3", "F#3", "A3", "D4"),
        ("D2", "G2", "D3", "G3", "B3", "D4"),
        ("B1", "E2", "A2", "D3", "F#3", "B3"),
    ),
    "bass": (("E1", "A1", "D2", "G2"),),
    "seven and eight strings": (
        ("B1", "E2", "A2", "D3", "G3", "B3", "E4"),
        ("F#1", "B1", "E2", "A2", "D3", "G3", "B3", "E4"),
    ),
}


class _Memory:
    """Samples held in memory."""

    def __init__(self, samples: npt.NDArray[np.float32]) -> None:
        self.samples = samples

    def read(self, start: int, stop: int) -> npt.NDArray[np.float32]:
        return self.samples[start:stop]


def recording_of(samples: npt.NDArray[np.floating], rate_hz: int) -> Recording:
    """Return a recording of samples in memory."""
    held = np.asarray(samples, np.float32)
    return Recording(
        name="take.wav",
        sha256="0" * 64,
        sample_rate_hz=rate_hz,
        file_rate_hz=rate_hz,
        n_samples=len(held),
        peak_dbfs=float(20.0 * np.log10(np.abs(held).max() + 1e-9)),
        noise_dbfs=-75.0,
        warnings=(),
        path=None,
        source=_Memory(held),
    )


@dataclass(frozen=True)
class Case:
    """One take to be drawn: guitar, playing and chain."""

    guitar: Guitar
    performance: dict[str, Any]
    chain: dict[str, Any]


def _strings(rng: np.random.Generator, n: int, count: int) -> tuple[int, ...]:
    return tuple(int(s) for s in rng.permutation(n)[:count] + 1)


def _draw(kind: str, rng: np.random.Generator) -> Case:
    bass = kind.endswith("bass")
    tuning = TUNINGS.get("bass" if bass else kind)
    guitar = Guitar(
        tuning=tuning[int(rng.integers(len(tuning)))] if tuning else Guitar().tuning,
        frets=20 if bass else 22,
        scale_mm=864.0 if bass else float(rng.uniform(620.0, 660.0)),
    )
    playing: dict[str, Any] = {
        "pace_s": float(rng.uniform(0.3, 0.7)),
        "amplitude_mm": float(rng.uniform(0.3, 0.7)),
        "pluck_mm": float(rng.uniform(60.0, 150.0)),
        "angle_deg": float(rng.uniform(10.0, 75.0)),
        "strings": _strings(rng, guitar.n_strings, 2),
        "last_fret": int(rng.integers(11, 17)),
    }
    chain: dict[str, Any] = {
        "source": "pickup",
        "pickup_mm": float(rng.uniform(30.0, 150.0)),
        "noise_dbfs": float(rng.uniform(-75.0, -60.0)),
    }
    mistakes = {
        "skip": 0.03, "repeat": 0.04, "wrong": 0.02, "soft": 0.02,
        "squeak": 0.15, "thump": 0.04, "talk": 0.5,
    }  # fmt: skip
    changes: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
        "fast": ({"pace_s": 0.15, "pace_sd": 0.03, "last_fret": 22}, {}),
        "room": ({}, {"source": "room", "room_t60_s": 0.5, "noise_dbfs": -52.0}),
        "messy": (mistakes, {"hum_dbfs": -50.0, "noise_dbfs": -60.0}),
        "across the strings": ({"order": "across", "strings": None, "last_fret": 3}, {}),
        "buzzing": ({"amplitude_mm": 1.2}, {}),
        "buzzing high on wound strings": (
            {"amplitude_mm": 1.2, "strings": (6, 5), "last_fret": 22},
            {},
        ),
        "buzzing in a room": (
            {"amplitude_mm": 1.2, "last_fret": 22},
            {"source": "room", "room_t60_s": 0.5, "noise_dbfs": -52.0},
        ),
        "buzzing bass": ({"amplitude_mm": 1.4, "last_fret": 20}, {}),
        "phone": ({}, {"source": "room", "band_hz": (250.0, 3800.0), "noise_dbfs": -50.0}),
    }
    more, wired = changes.get(kind, ({}, {}))
    return Case(guitar=guitar, performance=playing | more, chain=chain | wired)


@dataclass
class Tally:
    """Counts over all takes of a kind."""

    true: int = 0
    found: int = 0
    hits: int = 0
    placed: int = 0
    theirs: int = 0
    their_hits: int = 0
    misses_s: tuple[float, ...] = ()

    @property
    def f(self) -> float:
        """F measure of the onsets."""
        return 2.0 * self.hits / (self.true + self.found)

    @property
    def their_f(self) -> float:
        """F measure of librosa's onsets."""
        return 2.0 * self.their_hits / max(self.true + self.theirs, 1)

    @property
    def bias_s(self) -> float:
        """Median of found minus true, in seconds."""
        return float(np.median(self.misses_s))


def matches(
    true_s: npt.NDArray[np.float64], found_s: npt.NDArray[np.float64]
) -> list[tuple[int, int]]:
    """Return pairs (true, found) within the window, each used once, in time order."""
    pairs, j = [], 0
    for i, t in enumerate(true_s):
        while j < len(found_s) and found_s[j] < t - WINDOW_S:
            j += 1
        if j < len(found_s) and found_s[j] <= t + WINDOW_S:
            pairs.append((i, j))
            j += 1
    return pairs


def _count(tally: Tally, take: Take, guitar: Guitar) -> None:
    import librosa

    rate = take.sample_rate_hz
    found = find_notes([recording_of(take.samples, rate)], guitar).notes
    truth = sorted(take.truth, key=lambda note: note.onset_s)
    true_s = np.array([n.onset_s for n in truth])
    pairs = matches(true_s, np.array([n.onset_s for n in found]))
    theirs = librosa.onset.onset_detect(y=np.asarray(take.samples), sr=rate, units="time")
    tally.true += len(truth)
    tally.found += len(found)
    tally.hits += len(pairs)
    tally.placed += sum(
        (truth[i].string, truth[i].fret) == (found[j].string, found[j].fret) for i, j in pairs
    )
    tally.misses_s += tuple(found[j].onset_s - truth[i].onset_s for i, j in pairs)
    tally.theirs += len(theirs)
    tally.their_hits += len(matches(true_s, theirs))


KINDS = (
    "clean",
    "fast",
    "room",
    "messy",
    "tuned otherwise",
    "bass",
    "seven and eight strings",
    "across the strings",
    "buzzing",
    "phone",
    "buzzing high on wound strings",
    "buzzing in a room",
    "buzzing bass",
)


@pytest.fixture(scope="module")
def table() -> dict[str, Tally]:
    """Return the counts of every kind of take, printed as a table."""
    rows: dict[str, Tally] = {}
    print(f"\n{'take':30}{'notes':>6}{'F25':>8}{'bias ms':>9}{'placed':>8}{'librosa F25':>13}")
    for number, kind in enumerate(KINDS):
        tally = Tally()
        for case in range(N_CASES):
            rng = np.random.default_rng([2026, number, case])
            drawn = _draw(kind, rng)
            take = simulate_take(
                SimGuitar.from_guitar(drawn.guitar, roughness_seed=case),
                Performance(**drawn.performance),
                Chain(**drawn.chain),
                seed=int(rng.integers(1_000_000)),
            )
            _count(tally, take, drawn.guitar)
        rows[kind] = tally
        print(
            f"{kind:30}{tally.true:6d}{tally.f:8.3f}{1000 * tally.bias_s:9.1f}"
            f"{tally.placed / tally.hits:8.3f}{tally.their_f:13.3f}"
        )
    return rows


@pytest.mark.parametrize("kind", KINDS)
def test_onsets_are_found_where_they_are(table: dict[str, Tally], kind: str) -> None:
    assert table[kind].f >= LEAST_F
    assert abs(table[kind].bias_s) < MOST_BIAS_S


@pytest.mark.parametrize("kind", KINDS)
def test_notes_lie_on_their_string_and_fret(table: dict[str, Tally], kind: str) -> None:
    assert table[kind].placed >= LEAST_PLACED * table[kind].hits


def test_ours_beats_a_general_onset_detector_on_messy_takes(table: dict[str, Tally]) -> None:
    assert table["messy"].f > table["messy"].their_f
