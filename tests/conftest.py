"""A judged neck made by hand: synthesised notes in memory, verdicts that are known."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import settings

from buzzscan.comparison import Comparison, compare
from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import Bars, Buzz, Finding, Position, Sustain
from buzzscan.notes.note import Note
from buzzscan.recording import Recording, RecordingWarning
from buzzscan.report import write_comparison, write_report
from buzzscan.scanning import Scan

# The same examples in every run: what a change breaks is what it touched. Longer, drawn anew:
# pytest --hypothesis-profile=drawn
settings.register_profile("fixed", derandomize=True)
settings.register_profile("drawn", derandomize=False)
settings.load_profile("fixed")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the tables of the accuracy tests, which are worth reading when they pass too."""
    for report in terminalreporter.stats.get("passed", ()):
        if report.when == "call" and report.nodeid.startswith("tests/accuracy/"):
            for line in report.capstdout.splitlines():
                terminalreporter.write_line(line)


RATE_HZ = 16000
NOTE_S = 0.3
HIGH_FRET = 10
DEAD = (3, 14)
NEW_BUZZ = (1, 3)


@dataclasses.dataclass
class MemorySource:
    """Samples held in memory."""

    samples: npt.NDArray[np.float32]

    def read(self, start: int, stop: int) -> npt.NDArray[np.float32]:
        """Return a stretch of the samples."""
        return self.samples[start:stop]


def tone(pitch_hz: float, *, buzz: float, fall_db_per_s: float) -> npt.NDArray[np.float32]:
    """Return a plucked tone: ten partials, and clicks once a period where it buzzes."""
    t = np.arange(round(NOTE_S * RATE_HZ)) / RATE_HZ
    partials = np.arange(1, 11)
    partials = partials[partials * pitch_hz < 0.45 * RATE_HZ]
    wave = (np.sin(2 * np.pi * pitch_hz * np.outer(partials, t)) / partials[:, None] ** 1.5).sum(0)
    clicks = buzz * (np.mod(t * pitch_hz, 1.0) < 0.04) * np.exp(-t / 0.1)
    envelope = 10 ** (-fall_db_per_s * t / 20) * np.minimum(t / 0.004, 1.0)
    return (0.25 * (wave + clicks) * envelope).astype(np.float32)


def _verdict(string: int, fret: int) -> tuple[Buzz, Sustain, float, float, float]:
    """Return buzz, sustain, buzz_db, contact and fall of a position."""
    ahead = HIGH_FRET - fret
    if string >= 4 and 1 <= ahead <= 3:
        level = -22.0 - 7.0 * (ahead - 1)
        word: Buzz = "choked" if (string, fret) == (6, 9) else "buzz" if level > -35 else "slight"
        return word, "rings", level, 0.98 - 0.2 * (ahead - 1), 14.0
    if (string, fret) == DEAD:
        return "clean", "dead", -58.0, 0.02, 46.0
    return "clean", "rings", -60.0, 0.03, 12.0


def _measured(note: Note, guitar: Guitar) -> MeasuredNote:
    _, _, buzz_db, contact, fall = _verdict(note.string, note.fret)
    half = 0.5 if note.direction == "up" else -0.5
    return MeasuredNote(
        note=note,
        pitch_hz=guitar.pitch_hz(note.string, note.fret) * 1.0006,
        cents=1.0 + half,
        pitch_error_cents=0.2,
        glide_cents=0.8 + half,
        inharmonicity=4.2e-5,
        attack_dbfs=-9.5,
        decay_db_per_s=fall + half,
        decay_low_db_per_s=fall - 2.0,
        decay_high_db_per_s=fall + 2.0,
        t60_s=60.0 / (fall + half),
        whole_decay_db_per_s=fall + 1.0,
        edt_s=None,
        t20_s=None,
        t30_s=None,
        buzz_db=buzz_db + half,
        buzz_amp_db=buzz_db - 3.0 + half,
        contact=contact,
        contact_until_s=0.21 if contact > 0.5 else None,
        judged=True,
        reason="",
        withheld=(("t20_s", "range above the noise is 24 dB, need 30 dB"),),
    )


def _position(guitar: Guitar, string: int, fret: int, ids: tuple[int, ...]) -> Position:
    if not ids:
        return Position.unplayed(string, fret)
    buzz, sustain, buzz_db, contact, fall = _verdict(string, fret)
    sharp = string == 2 and fret >= guitar.frets - 2
    return Position(
        string=string,
        fret=fret,
        notes=ids,
        cents=8.4 if sharp else 1.0,
        cents_spread=0.5,
        decay_db_per_s=fall,
        decay_spread_db_per_s=0.5,
        decay_ratio=fall / 12.0,
        t60_s=60.0 / fall,
        buzz_db=buzz_db,
        buzz_amp_db=buzz_db - 3.0,
        buzz_spread_db=0.5,
        contact=contact,
        buzz=buzz,
        sustain=sustain,
        pitch="sharp" if sharp else "in tune",
        reason="",
    )


def _findings(ids: dict[tuple[int, int], tuple[int, ...]]) -> tuple[Finding, ...]:
    below = [(s, f) for s in (4, 5, 6) for f in (7, 8, 9)]
    return (
        Finding(
            kind="high fret",
            strings=(4, 5, 6),
            frets=(HIGH_FRET,),
            confidence=0.93,
            height_mm=0.11,
            height_low_mm=0.07,
            height_high_mm=0.16,
            summary="Frets 7 to 9 buzz on strings 4 to 6, most at fret 9 (−22 dB, contact 98 %); "
            "fret 10 itself and those above it ring clean on the same strings.",
            next_step="Rock a short straightedge over frets 9, 10 and 11 on the bass side. If it "
            "rocks on 10, spot-level and recrown that fret, then play the strings again.",
            notes=tuple(i for where in below for i in ids.get(where, ())),
        ),
        Finding(
            kind="dead spot",
            strings=(DEAD[0],),
            frets=(DEAD[1],),
            confidence=0.81,
            height_mm=None,
            height_low_mm=None,
            height_high_mm=None,
            summary="String 3 at fret 14 falls 46 dB/s, 3.8 times as fast as usual, and adds no "
            "highs; the same pitch on the next string falls fast as well.",
            next_step="The neck takes this frequency. Fretwork will not cure it; a clamp of "
            "50 g on the headstock shows whether it can be moved.",
            notes=ids.get(DEAD, ()),
        ),
    )


def _build(guitar: Guitar, unplayed: frozenset[tuple[int, int]], *, warnings: bool) -> Scan:
    frets = range(guitar.frets + 1)
    run = [
        (string, fret, way)
        for string in reversed(guitar.strings)
        for way, order in (("up", frets), ("down", frets[::-1]))
        for fret in order
        if (string, fret) not in unplayed
    ]
    notes, sounds, ids = [], [], {}
    for index, (string, fret, way) in enumerate(run):
        notes.append(
            Note(
                id=index + 1,
                recording=0,
                string=string,
                fret=fret,
                direction=way,  # type: ignore[arg-type]
                onset_s=index * NOTE_S,
                end_s=(index + 1) * NOTE_S,
                pitch_hz=guitar.pitch_hz(string, fret),
                placed=0.99,
                judged=True,
                reason="",
            )
        )
        ids.setdefault((string, fret), []).append(index + 1)
        word, _, _, _, fall = _verdict(string, fret)
        loud = {"clean": 0.0, "slight": 0.4, "buzz": 1.2, "choked": 2.0}[word]
        sounds.append(tone(guitar.pitch_hz(string, fret), buzz=loud, fall_db_per_s=fall))
    samples = np.concatenate(sounds)
    recording = Recording(
        name="before take.wav",
        sha256="0" * 64,
        sample_rate_hz=RATE_HZ,
        file_rate_hz=RATE_HZ,
        n_samples=samples.size,
        peak_dbfs=-3.2,
        noise_dbfs=-71.4,
        warnings=(
            RecordingWarning(
                code="hum",
                message="hum at 50 Hz, −48.0 dBFS; turn away from the mains transformer",
            ),
        )
        if warnings
        else (),
        path=None,
        source=MemorySource(samples),
    )
    places = {where: tuple(found) for where, found in ids.items()}
    return Scan(
        recordings=(recording,),
        guitar=guitar,
        tuning_found=False,
        offset_cents=-3.2,
        remarks=("2.4 s of talk at 0:00 passed over.",),
        bars=Bars(),
        notes=tuple(_measured(note, guitar) for note in notes),
        positions=tuple(
            _position(guitar, string, fret, places.get((string, fret), ()))
            for string in guitar.strings
            for fret in frets
        ),
        findings=_findings(places),
    )


@pytest.fixture(scope="session")
def make_scan() -> Callable[..., Scan]:
    """Return a maker of judged necks; options: guitar, unplayed, warnings."""

    def make(
        guitar: Guitar | None = None,
        *,
        unplayed: frozenset[tuple[int, int]] = frozenset({(1, 22), (1, 21)}),
        warnings: bool = True,
    ) -> Scan:
        default = Guitar(
            name="Walnut offset, job 0417",
            shop="Alder Lane Fretworks",
            job="0417",
            scale_mm=647.7,
            action_12_mm=(1.75, 1.7, 1.65, 1.6, 1.55, 1.5),
            relief_mm=0.2,
        )
        return _build(guitar or default, unplayed, warnings=warnings)

    return make


@pytest.fixture(scope="session")
def neck_scan(make_scan: Callable[..., Scan]) -> Scan:
    """Return a six-string neck with a high fret, a dead spot and a sharp corner."""
    return make_scan()


@pytest.fixture(scope="session")
def written(neck_scan: Scan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the whole report of the neck, for both audiences."""
    folder = tmp_path_factory.mktemp("report")
    write_report(neck_scan, folder, audience="both")
    return folder


@pytest.fixture(scope="session")
def after_scan(neck_scan: Scan) -> Scan:
    """Return the same neck after the high fret was dressed, with one new buzz."""

    def dressed(position: Position) -> Position:
        changes: dict[str, object] = {}
        if position.buzz in {"buzz", "choked"} and position.fret == HIGH_FRET - 1:
            changes = {"buzz": "clean", "buzz_db": -58.0, "contact": 0.02}
        elif position.buzz == "buzz":
            changes = {"buzz": "slight", "buzz_db": -41.0, "contact": 0.6}
        elif (position.string, position.fret) == NEW_BUZZ:
            changes = {"buzz": "buzz", "buzz_db": -30.0, "contact": 0.9}
        return dataclasses.replace(position, **changes)

    recording = dataclasses.replace(neck_scan.recordings[0], name="after take.wav", sha256="1" * 64)
    positions = tuple(dressed(p) for p in neck_scan.positions)
    contact = {i: p.contact for p in positions for i in p.notes}
    return dataclasses.replace(
        neck_scan,
        recordings=(recording,),
        notes=tuple(dataclasses.replace(n, contact=contact[n.note.id]) for n in neck_scan.notes),
        positions=positions,
        findings=neck_scan.findings[1:],
    )


@pytest.fixture(scope="session")
def comparison(neck_scan: Scan, after_scan: Scan) -> Comparison:
    """Return the comparison of the neck before and after, in words of its own."""
    found = compare(neck_scan, after_scan)
    summaries = ("high fret 10 under strings 4–6: cured", "dead spot at string 3: still there")
    return dataclasses.replace(
        found,
        findings=tuple(
            dataclasses.replace(finding, summary=summary)
            for finding, summary in zip(found.findings, summaries, strict=True)
        ),
        remarks=("Both takes are equally loud.",),
        summary="3 positions are cured, 3 better, 1 is new.",
    )


@pytest.fixture(scope="session")
def compared(comparison: Comparison, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with all pages of the comparison."""
    folder = tmp_path_factory.mktemp("comparison")
    write_comparison(comparison, folder, audience="both", done="Fret 10 levelled and crowned.")
    return folder


def pluck(
    pitch_hz: float, rate_hz: int, note_s: float, rng: np.random.Generator, *, fall_db_per_s: float
) -> npt.NDArray[np.float64]:
    """Return a plucked stiff string: up to 40 partials, the higher the sooner gone."""
    t = np.arange(round(note_s * rate_hz)) / rate_hz
    h = np.arange(1, 41)
    partial_hz = h * pitch_hz * np.sqrt(1.0 + 8e-5 * h**2)
    h, partial_hz = h[partial_hz < 0.45 * rate_hz], partial_hz[partial_hz < 0.45 * rate_hz]
    rate = fall_db_per_s * (1.0 + 0.15 * (h - 1)) * np.log(10.0) / 20.0
    phase = rng.uniform(0.0, 2.0 * np.pi, len(h))
    level = np.sin(np.pi * 0.17 * h) / h**1.2
    wave = np.zeros_like(t)
    for k in range(len(h)):
        wave += level[k] * np.exp(-rate[k] * t) * np.sin(2 * np.pi * partial_hz[k] * t + phase[k])
    return (
        wave / np.abs(wave).max() * np.minimum(t / 0.002, 1.0) * np.minimum((t[-1] - t) / 0.02, 1)
    )


def _gliding(
    note: npt.NDArray[np.float64], rate_hz: int, cents: float, fall_db_per_s: float
) -> npt.NDArray[np.float64]:
    """Return a note that begins sharp: tension rises with the square of the swing."""
    t = np.arange(note.size) / rate_hz
    settles_s = 10.0 / (np.log(10.0) * fall_db_per_s)
    ahead_s = cents * np.log(2.0) / 1200.0 * settles_s * (1.0 - np.exp(-t / settles_s))
    return np.interp(t + ahead_s, t, note, right=0.0) if cents else note


def run_of(
    *,
    rate_hz: int = 44100,
    open_midi: tuple[float, ...] = (64,),
    frets: tuple[int, ...] = tuple(range(13)),
    note_s: float = 0.5,
    gap_s: float = 0.1,
    peak: float = 0.3,
    noise_dbfs: float | None = -75.0,
    fall_db_per_s: float = 12.0,
    glide_cents: float = 0.0,
    seed: int = 0,
) -> npt.NDArray[np.float64]:
    """Return a chromatic run up and down each string, with pauses of noise alone.

    Notes begin sharp by `glide_cents`, as hard picks do, and settle as they fall.
    """
    rng = np.random.default_rng(seed)
    pause = np.zeros(round(gap_s * rate_hz))
    parts = [np.zeros(round(0.4 * rate_hz))]
    for midi in open_midi:
        for fret in (*frets, *frets[::-1]):
            pitch_hz = 440.0 * 2.0 ** ((midi + fret - 69.0) / 12.0)
            strength = peak * 10.0 ** (rng.normal(0.0, 1.5) / 20.0)
            note = pluck(pitch_hz, rate_hz, note_s, rng, fall_db_per_s=fall_db_per_s)
            parts += [strength * _gliding(note, rate_hz, glide_cents, fall_db_per_s), pause]
    samples = np.concatenate(parts)
    if noise_dbfs is not None:
        samples += 10.0 ** (noise_dbfs / 20.0) * rng.standard_normal(len(samples))
    return samples


@pytest.fixture(scope="session")
def make_run() -> Callable[..., npt.NDArray[np.float64]]:
    """Return a maker of plucked runs; options as `run_of`."""
    return run_of


@pytest.fixture(scope="session")
def note_at() -> Callable[..., MeasuredNote]:
    """Return a maker of measured notes: string, fret, and whatever differs from a clean note.

    `id`, `recording`, `direction`, `onset_s`, `end_s` and `placed` go to the note itself, the rest
    to its measures.
    """

    def make(string: int, fret: int, **changes: object) -> MeasuredNote:
        note = Note(
            id=changes.pop("id", 1),  # type: ignore[arg-type]
            recording=changes.pop("recording", 0),  # type: ignore[arg-type]
            string=string,
            fret=fret,
            direction=changes.pop("direction", "up"),  # type: ignore[arg-type]
            onset_s=changes.pop("onset_s", 0.0),  # type: ignore[arg-type]
            end_s=changes.pop("end_s", NOTE_S),  # type: ignore[arg-type]
            pitch_hz=None,
            placed=0.99,
            judged=True,
            reason="",
        )
        clean = dataclasses.replace(
            _measured(note, Guitar(tuning=("E2",) * 8, frets=36)),
            contact=0.004,
            contact_until_s=None,
            buzz_db=-60.0,
        )
        told = dataclasses.replace(clean, **changes)  # type: ignore[arg-type]
        return told if "seen_decay_db_per_s" in changes else _seen_as_told(told)

    return make


def _seen_as_told(note: MeasuredNote) -> MeasuredNote:
    """Return a note of a dry take whose fall was seen as it is told, give or take 5 %."""
    fall = note.decay_db_per_s
    return dataclasses.replace(
        note,
        seen_decay_db_per_s=fall,
        seen_decay_error_db_per_s=None if fall is None else 0.05 * fall,
        seen_room_db=None if fall is None else 0.02,
    )
