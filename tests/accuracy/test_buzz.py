"""How well contact and buzz are told on simulated takes of guitars drawn at random.

The guitars, the playing and the recordings are drawn anew here and were not used to fit
anything; half of them are modal strings, half strings on a grid with another law of contact.
The third model, strings along which waves travel, has contact of another kind, fainter and seldom
once a period: few of the notes of the fit are of it. Run with ``pytest -s`` to see the table;
`BUZZSCAN_ACCURACY_TAKES` sets how many takes there are of each kind (18 give figures).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import rankdata
from training.guitars import drawn_string
from true_notes import true_notes

from buzzscan.guitar import Guitar
from buzzscan.measures import contact
from buzzscan.measures.buzz import measure_buzz
from buzzscan.recording import recording_from_samples
from buzzscan.simulate import Chain, Fault, Performance, SimGuitar, drawn_body, simulate_take
from buzzscan.simulate.take import Take

FloatArray = npt.NDArray[np.float64]

TAKES_PER_KIND = int(os.environ.get("BUZZSCAN_ACCURACY_TAKES", "3"))
ENOUGH_FOR_FIGURES = 18
JITTER_S = 0.015
TUNINGS = (
    ("E2", "A2", "D3", "G3", "B3", "E4"),
    ("D2", "A2", "D3", "G3", "B3", "E4"),
    ("B1", "E2", "A2", "D3", "G3", "B3", "E4"),
    ("E1", "A1", "D2", "G2"),
)
HARD = ("room", "phone", "messy")
KINDS = ("pickup", "bridge", "hum", *HARD)
MODELS = ("modes", "grid")
FAINT = "waveguide"
FIRST_SEED = {"modes": 500, "grid": 600, FAINT: 700}


@dataclass(frozen=True)
class Told:
    """What was measured of one note beside what is true of it."""

    kind: str
    model: str
    contact: float
    buzz_db: float
    clean: bool
    persistent: bool
    true_db: float | None


def chain_of(kind: str, rng: np.random.Generator) -> Chain:
    u = rng.uniform
    return Chain(
        source="bridge" if kind == "bridge" else "room" if kind in HARD else "pickup",
        pickup_mm=float(u(35, 160)),
        pickup_hz=float(u(2200, 6500)),
        pickup_q=float(u(0.7, 2.5)),
        room_t60_s=float(u(0.15, 0.5)),
        room_db=float(u(-14, -4)),
        noise_dbfs=float(u(-70, -55) if kind in HARD else u(-85, -65)),
        hum_dbfs=float(u(-65, -45)) if kind == "hum" else None,
        hum_hz=float(rng.choice([50.0, 60.0])),
        band_hz=(150.0, float(u(3800, 8000))) if kind == "phone" else None,
    )


@lru_cache(maxsize=len(KINDS))
def draw(kind: str, seed: int, model: str) -> tuple[Guitar, Take]:
    """Return one guitar and a run over two of its strings; the last of each kind are kept."""
    rng = np.random.default_rng([seed, KINDS.index(kind), 20])
    u = rng.uniform
    guitar = Guitar(tuning=TUNINGS[rng.integers(len(TUNINGS))])
    faults = tuple(
        Fault(kind="fret", fret=int(rng.integers(4, 20)), amount=float(u(0.1, 0.3)))
        for _ in range(2)
    )
    if rng.random() < 0.3 or model == FAINT:  # whose contact seldom lasts, however hard
        faults = (*faults, Fault(kind="action", amount=-float(u(0.3, 0.7))))
    instrument = SimGuitar.from_guitar(
        guitar,
        faults=faults,
        resonances=drawn_body(rng),
        roughness_seed=seed,
        string_loss=float(u(0.8, 3.0)),
        contact_damping=float(u(0.005, 0.05)),
    )
    performance = Performance(
        pace_s=float(np.exp(u(np.log(0.2), np.log(0.7)))),
        amplitude_mm=float(u(0.45, 0.9)) * (1.6 if model == FAINT else 1.0),
        pluck_mm=float(u(60, 140)),
        angle_deg=float(u(25, 60)),
        strings=tuple(int(s) for s in rng.choice(guitar.strings, 2, replace=False)),
        passes="up",
        squeak=0.25 if kind == "messy" else 0.0,
        thump=0.05 if kind == "messy" else 0.0,
        talk=0.3 if kind == "messy" else 0.0,
    )
    chain = chain_of(kind, rng)
    string = drawn_string(model, rng)
    return guitar, simulate_take(instrument, performance, chain, seed=seed, **string)


def tell(kind: str, seed: int, model: str) -> list[Told]:
    guitar, take = draw(kind, seed, model)
    rng = np.random.default_rng(seed)
    notes = true_notes(take.truth, rng, off_s=JITTER_S, pitched=True)
    recording = recording_from_samples(take.samples, take.sample_rate_hz)
    measures = measure_buzz([recording], guitar, notes, [None] * len(notes))
    told = []
    for true, measure in zip(take.truth, measures, strict=True):
        if measure.contact is None or measure.buzz_db is None or true.sounding_fret != true.fret:
            continue
        length = true.end_s - true.onset_s
        told.append(
            Told(
                kind=kind,
                model=model,
                contact=measure.contact,
                buzz_db=measure.buzz_db,
                clean=true.contact_until_s < 0.04,
                persistent=true.contact and true.contact_until_s > min(0.2, 0.6 * length),
                true_db=true.buzz_db,
            )
        )
    return told


@lru_cache
def faint() -> tuple[Told, ...]:
    """Return the notes of the string model whose contact is faint."""
    return tuple(
        one
        for kind in KINDS
        for seed in range(TAKES_PER_KIND)
        for one in tell(kind, FIRST_SEED[FAINT] + seed, FAINT)
    )


@lru_cache
def all_told() -> tuple[Told, ...]:
    return tuple(
        one
        for model in MODELS
        for kind in KINDS
        for seed in range(TAKES_PER_KIND)
        for one in tell(kind, FIRST_SEED[model] + seed, model)
    )


def auc(told: list[Told]) -> float:
    """Return the chance that a struck note is rated over a clean one."""
    score = np.array([t.contact for t in told])
    struck = np.array([t.persistent for t in told])
    n, k = struck.size, int(struck.sum())
    return float((rankdata(score)[struck].sum() - k * (k + 1) / 2) / (k * (n - k)))


def rank_correlation(told: list[Told]) -> float:
    pairs = [(t.buzz_db, t.true_db) for t in told if t.persistent and t.true_db is not None]
    measured, true = (rankdata(v) for v in zip(*pairs, strict=True))
    return float(np.corrcoef(measured, true)[0, 1])


def row(name: str, told: list[Told]) -> str:
    clean = [t.contact for t in told if t.clean]
    struck = [t.contact for t in told if t.persistent]
    judged = [t for t in told if t.clean or t.persistent]
    return (
        f"{name:9s} {len(clean):6d} {len(struck):6d} {auc(judged):7.3f} "
        f"{rank_correlation(told):7.2f} {100 * np.mean(np.array(clean) > 0.5):7.1f} "
        f"{100 * np.mean(np.array(struck) > 0.5):7.1f}"
    )


def of(*kinds: str) -> list[Told]:
    return [t for t in all_told() if t.kind in kinds]


def string_model(model: str) -> list[Told]:
    return [t for t in all_told() if t.model == model]


def found(told: list[Told]) -> float:
    """Return the share of the notes in persistent contact that are told."""
    return float(np.mean([t.contact > 0.5 for t in told if t.persistent]))


def test_table() -> None:
    print("\nkind       clean struck     AUC  rank r  false %  found %")
    for kind in KINDS:
        print(row(kind, of(kind)))
    for model in MODELS:
        print(row(model, string_model(model)))
    print(row("all", list(all_told())))
    print(row(FAINT, list(faint())))
    # nothing is told of a kind that holds no contact, or nothing else
    assert all(any(t.clean for t in of(k)) and any(t.persistent for t in of(k)) for k in KINDS)


def test_contact_is_told_from_clean() -> None:
    direct = [t for t in of("pickup", "bridge", "hum") if t.clean or t.persistent]
    hard = [t for t in of(*HARD) if t.clean or t.persistent]
    # one pair of a clean and a struck note in fifty is ranked the wrong way round; behind a room,
    # a phone or a careless player one in twenty
    assert auc(direct) >= 0.98
    assert auc(hard) >= 0.95


def test_few_clean_notes_are_called_buzz() -> None:
    clean = [t.contact for t in all_told() if t.clean]
    assert np.mean(np.array(clean) > 0.5) <= 0.01


def test_persistent_contact_is_found() -> None:
    # single notes; a position has two looks
    assert found(list(all_told())) >= 0.95


def test_contact_of_another_kind_is_told() -> None:
    """Fainter by 20 dB than the springs' and seldom once a period: ranked, if less often called."""
    judged = [t for t in faint() if t.clean or t.persistent]
    # far from the springs' 0.99, and as far from chance
    assert auc(judged) >= 0.8
    assert np.mean([t.contact > 0.5 for t in judged if t.clean]) <= 0.02


def test_more_true_buzz_reads_as_more() -> None:
    assert rank_correlation(list(all_told())) >= 0.85


@pytest.mark.slow
@pytest.mark.skipif(
    TAKES_PER_KIND < ENOUGH_FOR_FIGURES,
    reason="of three takes of each kind, 85 notes are struck: too few to tell 0.90 from 0.88; "
    "BUZZSCAN_ACCURACY_TAKES=18 draws enough, and takes eight minutes",
)
def test_buzz_is_ranked_as_it_truly_is() -> None:
    # of eighteen takes of each kind the first half reads 0.89 and the whole 0.92
    assert rank_correlation(list(all_told())) >= 0.9


def test_clean_notes_hold_no_buzz() -> None:
    clean = np.array([t.buzz_db for t in all_told() if t.clean])
    struck = np.array([t.buzz_db for t in all_told() if t.persistent])
    # the bar of audible buzz is -35 dB when nobody sets another
    assert np.mean(clean > -35.0) <= 0.05
    assert np.median(struck) - np.median(clean) >= 20.0


@pytest.mark.slow
def test_every_cue_carries_its_share(monkeypatch: pytest.MonkeyPatch) -> None:
    """Print what is lost when a group of cues reads as a typical clean note does."""
    groups = {
        "fresh, bands": ("fresh_db", "fresh_least_db"),
        "fresh, lines": ("fresh_line_db", "fresh_line_held_db"),
        "fresh over low": ("fresh_share_db", "fresh_share_held_db"),
        "pairs": ("pair_db", "pair_line_db", "pair_line_low_db"),
        "gaps": ("gap_db", "gap_low_db"),
        "low partials": ("fresh_line_low_db", "fresh_low_held_db", "rough_low_db"),
        "late highs": ("late_db",),
        "rough": ("rough_db",),
    }
    value = contact._value
    print()
    takes = [t for kind in KINDS for t in tell(kind, 500, "modes")]
    full = auc([t for t in takes if t.clean or t.persistent])
    for name, cues in groups.items():

        def blind(c: contact.Cues, r: contact.Range, cues: tuple[str, ...] = cues) -> float:
            return 0.0 if r.cue in cues else value(c, r)

        with monkeypatch.context() as patched:
            patched.setattr(contact, "_value", blind)
            assert_no_better(name, full)

    def typical(figures: FloatArray) -> FloatArray:
        return np.broadcast_to(np.nanmedian(figures, axis=0), figures.shape)

    monkeypatch.setattr(contact, "known_figures", typical)
    assert_no_better("continuation", full)


def assert_no_better(name: str, full: float) -> None:
    told = [t for kind in KINDS for t in tell(kind, 500, "modes") if t.clean or t.persistent]
    print(f"without {name:16s} AUC {auc(told):.3f} (all cues {full:.3f})")
    # a cue that were better left out would show here; a hundredth is a note or two
    assert auc(told) <= full + 0.01
