"""What comparing says of simulated pairs: cured, partly cured, made worse, and not touched.

One small neck is played through one chain at one gain, so that level, noise and the strength of
the pick are what they would be at the bench. The truth is the simulator's: which notes strike.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

import buzzscan
from buzzscan.comparison import Comparison, compare
from buzzscan.guitar import Guitar
from buzzscan.recording import recording_from_samples
from buzzscan.scanning import Scan
from buzzscan.simulate import Chain, Fault, Performance, Resonance, SimGuitar, TrueNote
from buzzscan.simulate import take as taking

RATE_HZ = 32000
NOISE_DBFS = -70.0
PEAK = 0.5
LONG_S = 0.15
"""A pluck 10 % harder than usual adds a tenth of a second to contact, at 10 dB/s."""
HIGH_FRET = 7
GUITAR = Guitar(
    tuning=("D3", "G3", "B3", "E4"),
    frets=13,
    scale_mm=647.7,
    action_12_mm=(1.9, 1.8, 1.7, 1.6),
    relief_mm=0.2,
    nut_gap_mm=0.4,
    name="Walnut offset",
)
DEAD_SPOT = Resonance(frequency_hz=207.65, conductance_s_kg=0.012, q=30.0)
PLAYED = Performance(pace_s=0.5, amplitude_mm=0.8, gap_s=0.03)

FRETS = {"high fret", "low fret"}
"""Two readings of one step between neighbouring frets."""

Place = tuple[int, int]
Array = npt.NDArray[np.float64]


def high(fret: int, strings: tuple[int, ...], mm: float = 0.14) -> Fault:
    return Fault(kind="fret", fret=fret, amount=mm, strings=strings)


@dataclass(frozen=True)
class Played:
    """A take before it is recorded, and its truth."""

    signal: Array
    truth: tuple[TrueNote, ...]

    def always(self) -> set[Place]:
        """Return places where every note strikes for longer than a pluck may make or end."""
        return {p for p, notes in self._by_place().items() if all(map(_strikes_long, notes))}

    def strikes(self) -> set[Place]:
        """Return places where any note strikes."""
        return set(self._by_place()) - self.never()

    def never(self) -> set[Place]:
        """Return places where no note strikes."""
        return {p for p, notes in self._by_place().items() if not any(map(_strikes, notes))}

    def _by_place(self) -> dict[Place, list[TrueNote]]:
        found: dict[Place, list[TrueNote]] = {}
        for note in self.truth:
            found.setdefault((note.string, note.fret), []).append(note)
        return found


def _strikes(note: TrueNote) -> bool:
    return note.contact or note.sounding_fret != note.fret


def _strikes_long(note: TrueNote) -> bool:
    return note.sounding_fret != note.fret or (note.contact and note.contact_until_s >= LONG_S)


class Bench:
    """One guitar at one bench: takes are played when they are first asked for."""

    def __init__(self, chain: Chain) -> None:
        self.chain = chain
        self.played: dict[object, Played] = {}
        self.scans: dict[object, Scan] = {}

    def play(self, faults: tuple[Fault, ...], *, strength: float = 1.0, seed: int) -> Played:
        """Return the run on a neck with these faults, picked at a share of the usual strength."""
        key = (faults, strength, seed)
        if key not in self.played:
            guitar = SimGuitar.from_guitar(
                GUITAR,
                faults=faults,
                resonances=(DEAD_SPOT,),
                roughness_mm=0.006,
                roughness_seed=5,
            )
            performance = Performance(
                pace_s=PLAYED.pace_s,
                amplitude_mm=PLAYED.amplitude_mm * strength,
                gap_s=PLAYED.gap_s,
            )
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(taking, "record", _unrecorded)
                take = taking.simulate_take(guitar, performance, self.chain, seed=seed)
            self.played[key] = Played(np.asarray(take.samples, np.float64), take.truth)
        return self.played[key]

    def scan(
        self,
        played: Played,
        *,
        gain_db: float = 0.0,
        noise_seed: int = 1,
        made_louder_db: float = 0.0,
    ) -> Scan:
        """Return the scan of a take, recorded at the gain of this bench or another.

        What is made louder is the guitar alone, as by an edit before the noise comes in.
        """
        key = (id(played), gain_db, noise_seed, made_louder_db)
        if key not in self.scans:
            full = self.play(BEFORE, seed=1).signal
            rng = np.random.default_rng(noise_seed)
            noise = rng.normal(size=played.signal.size) * 10 ** (NOISE_DBFS / 20)
            own = PEAK / np.abs(full).max() * 10 ** (made_louder_db / 20)
            recorded = played.signal * own + noise
            recorded = np.clip(recorded * 10 ** (gain_db / 20), -1.0, 1.0)
            recorded = np.round(recorded * 2**15) / 2**15
            self.scans[key] = buzzscan.scan(
                recording_from_samples(recorded.astype(np.float32), RATE_HZ, name="take.wav"),
                GUITAR,
            )
        return self.scans[key]

    def compared(self, before: Played, after: Played, *, gain_db: float = 0.0) -> Comparison:
        """Return the comparison of two takes, the second at another gain."""
        return compare(self.scan(before), self.scan(after, gain_db=gain_db, noise_seed=2))


def _unrecorded(signal: Array, _: Chain, *, rng: np.random.Generator) -> Array:  # noqa: ARG001
    return signal


BEFORE = (high(HIGH_FRET, (1, 2, 3)),)
SHALLOW = (high(HIGH_FRET, (1, 2, 3), 0.1),)
DRESSED: tuple[Fault, ...] = ()
HALF_DRESSED = (high(HIGH_FRET, (3,)),)
NEW_FRET, NEW_STRINGS = 11, (1, 2, 3)
WORSE = (*BEFORE, high(NEW_FRET, NEW_STRINGS))


@pytest.fixture(scope="module", params=["pickup", "room"])
def bench(request: pytest.FixtureRequest) -> Bench:
    return Bench(Chain(source=request.param, sample_rate_hz=RATE_HZ))


def told(comparison: Comparison, title: str) -> dict[Place, str]:
    words = {(p.string, p.fret): p.change for p in comparison.positions}
    causes = [f.summary for f in comparison.findings if f.kind != "dead spot"]
    print(f"\n{title}: {dict(Counter(words.values()))} {causes} {comparison.strength.sentence}")
    return words


def share(words: dict[Place, str], places: set[Place], wanted: str) -> float:
    return sum(words[p] == wanted for p in places) / len(places)


def test_dressed_frets_are_cured_and_the_rest_is_the_same(bench: Bench) -> None:
    before, after = bench.play(BEFORE, seed=1), bench.play(DRESSED, seed=2)
    comparison = bench.compared(before, after)
    words = told(comparison, "cured")
    assert len(before.always()) >= 2, "the pair shows something"
    assert {words[p] for p in before.always() & after.never()} == {"cured"}
    untouched = before.never() & after.never()
    assert share(words, untouched, "same") >= 0.97
    assert not {"worse", "new"} & {words[p] for p in untouched}
    assert comparison.findings[0].change == "cured"
    assert comparison.strength.alike


def test_half_the_cure_is_told_by_strings(bench: Bench) -> None:
    before, after = bench.play(BEFORE, seed=1), bench.play(HALF_DRESSED, seed=3)
    comparison = bench.compared(before, after)
    words = told(comparison, "partly cured")
    assert {words[p] for p in before.always() & after.never()} == {"cured"}
    left = {p for p in before.always() - after.never() if p[0] == 3}
    assert left
    assert not {"cured", "new"} & {words[p] for p in left}
    # nothing is claimed of the whole fret where most of its places strike too briefly to tell
    brief = sum(words[p] == "not comparable" for p in before.strikes())
    least_told = "not comparable" if brief > len(before.always()) else "better"
    assert comparison.findings[0].change in {"better", least_told}


def test_made_worse_reads_new(bench: Bench) -> None:
    before, after = bench.play(BEFORE, seed=1), bench.play(WORSE, seed=4)
    comparison = bench.compared(before, after)
    words = told(comparison, "made worse")
    new = {(s, NEW_FRET - 1) for s in NEW_STRINGS} & after.always()
    assert new, "the pair shows something"
    assert {"new", "worse"} & {words[p] for p in new}
    unheard = {(p.string, p.fret) for p in comparison.positions if p.buzz_after is None}
    # what struck briefly before, near its threshold, may be heard to
    brief = before.strikes()
    assert {words[p] for p in new - unheard - brief} <= {"new", "worse"}
    # in one pass of two: then it buzzes in both takes
    assert {words[p] for p in new & brief} <= {"new", "worse", "same", "not comparable"}
    assert {words[p] for p in new & unheard} <= {"not comparable"}
    assert "cured" not in words.values()
    assert "cured" not in {f.change for f in comparison.findings if f.kind in FRETS}


@pytest.mark.parametrize("gain_db", [0.0, 6.0])
@pytest.mark.parametrize("faults", [BEFORE, SHALLOW], ids=["strikes on", "strikes no more"])
def test_half_the_strength_cures_nothing(
    bench: Bench, faults: tuple[Fault, ...], gain_db: float
) -> None:
    """The same neck picked half as hard, at the same gain and at one that makes up for it."""
    before = bench.play(faults, seed=1)
    after = bench.play(faults, strength=0.5, seed=5)
    assert len(before.strikes()) > len(after.strikes()), "softer notes strike less"
    if faults is SHALLOW:
        assert not after.always(), "what struck in all passes does so no more"
    comparison = bench.compared(before, after, gain_db=gain_db)
    words = told(comparison, f"half as hard, {gain_db:+.0f} dB")
    assert not {"cured", "better"} & set(words.values())
    assert "cured" not in {f.change for f in comparison.findings if f.kind in FRETS}
    assert comparison.strength.pick in {"softer", "unknown"}


@pytest.mark.parametrize("faults", [BEFORE, SHALLOW], ids=["strikes on", "strikes no more"])
def test_half_the_strength_over_unmoved_noise_cures_nothing(
    bench: Bench, faults: tuple[Fault, ...]
) -> None:
    """Level and noise are as before: only the glide of the attacks tells."""
    before = bench.play(faults, seed=1)
    after = bench.play(faults, strength=0.5, seed=5)
    comparison = compare(bench.scan(before), bench.scan(after, noise_seed=2, made_louder_db=6.0))
    words = told(comparison, "half as hard, made as loud over the same noise")
    assert not {"cured", "better"} & set(words.values())
    assert comparison.strength.pick in {"softer", "unknown"}


def test_lower_gain_cures_nothing_that_is_not(bench: Bench) -> None:
    before, again = bench.play(BEFORE, seed=1), bench.play(BEFORE, seed=6)
    words = told(bench.compared(before, again, gain_db=-12.0), "not touched, -12 dB")
    assert "cured" not in words.values()
    after = bench.play(DRESSED, seed=2)
    words = told(bench.compared(before, after, gain_db=-12.0), "cured, -12 dB")
    assert {words[p] for p in before.always() & after.never()} == {"cured"}


def test_playing_it_again_changes_nothing(bench: Bench) -> None:
    before, again = bench.play(BEFORE, seed=1), bench.play(BEFORE, seed=6)
    words = told(bench.compared(before, again), "not touched")
    assert set(words.values()) <= {"same", "not comparable"}
    assert share(words, set(words), "same") >= 0.9


def test_demo_pair() -> None:
    """The shipped recordings: fret 9 was dressed, the dead spot is still there."""
    folder = Path(__file__).parents[2] / "recordings"
    scans = [
        buzzscan.scan(folder / f"{name}.flac", folder / "guitar.toml")
        for name in ("before", "after")
    ]
    words = told(compare(*scans), "demo")
    cured = {place for place, word in words.items() if word == "cured"}
    assert {(s, 8) for s in (1, 2, 3)} <= cured
    assert {f for _, f in cured} <= {5, 6, 7, 8}
    assert {s for s, _ in cured} <= {1, 2, 3, 4}
    others = {p for p in words if not (p[0] <= 4 and 5 <= p[1] <= 8)}
    assert {words[p] for p in others} == {"same"}
