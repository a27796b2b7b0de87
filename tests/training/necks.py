"""Necks drawn with one fault each, and runs over all their strings by players who dig in.

Conventions
-----------
What is drawn comes from the generator given, in one order: a seed always gives the same take.

Limits
------
The player knows the neck: a level one is about to buzz under the pluck, so that faults show.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from training.guitars import MODELS, RATE_HZ, Drawn, drawn_string, log_uniform

from buzzscan.guitar import Guitar
from buzzscan.neck.verdict import CONTACT_KINDS
from buzzscan.simulate import (
    Chain,
    Fault,
    Performance,
    Resonance,
    SimGuitar,
    drawn_body,
    simulate_take,
)

__all__ = [
    "Truth",
    "draw_neck",
    "drawn_chain",
    "drawn_guitar",
    "drawn_neck",
    "drawn_performance",
    "drawn_truth",
]

TUNINGS = (
    ("E2", "A2", "D3", "G3", "B3", "E4"),
    ("E2", "A2", "D3", "G3", "B3", "E4"),
    ("D2", "A2", "D3", "G3", "B3", "E4"),
    ("D2", "G2", "C3", "F3", "A3", "D4"),
    ("B1", "E2", "A2", "D3", "G3", "B3", "E4"),
    ("E1", "A1", "D2", "G2"),
)
KINDS = (
    *("high fret", "high fret", "two high frets", "level", "low fret", "low nut slot"),
    *("low action", "rising fret end", "neck too straight"),
)


@dataclass(frozen=True, kw_only=True)
class Truth:
    """One thing that is wrong with a neck; `size` in mm, or Hz of a dead spot."""

    kind: str
    fret: int
    size: float
    strings: tuple[int, ...]


def drawn_guitar(rng: np.random.Generator) -> Guitar:
    """Return a guitar or bass as a customer may bring it, setup known."""
    tuning = TUNINGS[int(rng.integers(len(TUNINGS)))]
    bass = len(tuning) == 4
    thick = float(rng.uniform(1.3, 2.2)) + (0.6 if bass else 0.0)
    thin = thick - float(rng.uniform(0.1, 0.4))
    return Guitar(
        tuning=tuning,
        frets=int(rng.choice([20, 21, 22, 24])),
        scale_mm=863.6 if bass else float(rng.choice([628.0, 647.7, 660.0])),
        action_12_mm=tuple(np.linspace(thick, thin, len(tuning)).round(2).tolist()),
        relief_mm=round(float(rng.uniform(0.1, 0.3)), 2),
        nut_gap_mm=round(float(rng.uniform(0.25, 0.5)), 2),
    )


def drawn_truth(rng: np.random.Generator, kind: str, guitar: Guitar) -> tuple[Truth, ...]:
    """Return what is wrong with a neck: one thing of a kind, two, or nothing."""
    n, last = guitar.n_strings, guitar.frets
    every = tuple(guitar.strings)
    width = int(rng.integers(2, n))
    first = int(rng.integers(1, n - width + 2))
    some = every if rng.random() < 0.45 else tuple(range(first, first + width))
    one = (int(rng.integers(1, n + 1)),)
    fret = int(rng.integers(2, last - 2))
    gap, relief = guitar.nut_gap_mm or 0.4, guitar.relief_mm or 0.2
    action = (guitar.action_12_mm or (2.0,))[0]

    def truth(kind: str, fret: int, size: float, strings: tuple[int, ...]) -> Truth:
        return Truth(kind=kind, fret=fret, size=size, strings=strings)

    if kind == "two high frets":
        other = fret + 6 if fret + 6 < last else fret - 6
        return tuple(
            truth("high fret", f, float(rng.uniform(0.1, 0.2)), some) for f in (fret, other)
        )
    made = {
        "high fret": lambda: truth(kind, fret, float(rng.uniform(0.1, 0.2)), some),
        "low fret": lambda: truth(kind, fret, float(rng.uniform(0.1, 0.2)), some),
        "low nut slot": lambda: truth(kind, 0, gap - float(rng.uniform(0.0, 0.08)), one),
        "neck too straight": lambda: truth(kind, 1, relief + float(rng.uniform(0.0, 0.2)), every),
        "rising fret end": lambda: truth(kind, 12, float(rng.uniform(0.25, 0.6)), every),
        "low action": lambda: truth(kind, 0, float(rng.uniform(0.25, 0.45)) * action, every),
        "dead spot": lambda: truth(kind, 5, guitar.pitch_hz(one[0], int(rng.integers(3, 13))), one),
    }
    return (made[kind](),) if kind in made else ()


def _fault(truth: Truth) -> Fault:
    kinds = {
        "high fret": ("fret", 1.0),
        "low fret": ("fret", -1.0),
        "low nut slot": ("nut slot", -1.0),
        "neck too straight": ("relief", -1.0),
        "rising fret end": ("rising end", 1.0),
        "low action": ("action", -1.0),
    }
    kind, sign = kinds[truth.kind]
    return Fault(
        kind=kind,  # type: ignore[arg-type]
        fret=truth.fret if kind in ("fret", "rising end") else None,
        amount=sign * truth.size,
        strings=truth.strings,
    )


def _struck_from_mm(guitar: SimGuitar, pluck_mm: float) -> float:
    """Return the pluck of the thickest string from which some note of the level neck strikes.

    Away from the board at distance p from the saddle a string of saddle height h first strikes
    the frets ahead at p·h over the sounding length (derived from similar triangles).
    """
    level = dataclasses.replace(guitar, faults=(), roughness_mm=0.0)
    tension = [s.tension_n for s in guitar.strings]
    at = []
    for string in guitar.guitar.strings:
        line = level.line(string)
        height = line.saddle_mm - line.fret_mm[1]
        swing = height * pluck_mm / (line.scale_mm - line.x_mm[1])
        at.append(swing * tension[-string] / tension[0])
    return float(np.median(at))


def drawn_neck(
    rng: np.random.Generator, guitar: Guitar, truth: tuple[Truth, ...], seed: int
) -> SimGuitar:
    """Return the neck with its faults, on a guitar whose strings and body are drawn."""
    spots = tuple(
        Resonance(
            frequency_hz=t.size,
            conductance_s_kg=float(rng.uniform(0.006, 0.02)),
            q=float(rng.uniform(15.0, 40.0)),
        )
        for t in truth
        if t.kind == "dead spot"
    )
    body = drawn_body(rng, conductance_s_kg=5e-4) if rng.random() < 0.5 else ()
    return SimGuitar.from_guitar(
        guitar,
        faults=tuple(_fault(t) for t in truth if t.kind in CONTACT_KINDS),
        resonances=(*spots, *body),
        roughness_mm=float(rng.choice([0.004, 0.008])),
        roughness_seed=seed,
        string_loss=float(rng.uniform(0.7, 2.5)),
    )


def drawn_performance(rng: np.random.Generator, neck: SimGuitar) -> Performance:
    """Return a run by a player who digs in until a level neck is about to buzz."""
    pluck_mm = float(rng.uniform(70.0, 140.0))
    angle = float(rng.uniform(35.0, 60.0))
    hard = float(rng.uniform(0.85, 1.1)) * _struck_from_mm(neck, pluck_mm)
    return Performance(
        pace_s=float(rng.uniform(0.2, 0.5)),
        amplitude_mm=hard / float(np.sin(np.deg2rad(angle))),
        pluck_mm=pluck_mm,
        angle_deg=angle,
        passes="up-down" if rng.random() < 0.5 else "up",
    )


def drawn_chain(rng: np.random.Generator) -> Chain:
    """Return a direct recording, or one in a room."""
    return Chain(
        source=rng.choice(["pickup", "pickup", "bridge", "room"]),
        pickup_mm=float(rng.uniform(40.0, 150.0)),
        noise_dbfs=float(rng.uniform(-80.0, -60.0)),
        sample_rate_hz=RATE_HZ,
    )


def _unevenly(played: Performance, rng: np.random.Generator) -> Performance:
    """Return the run as played by rougher hands."""
    u = rng.uniform
    return dataclasses.replace(
        played,
        pace_s=log_uniform(rng, 0.18, 0.7),
        amplitude_mm=played.amplitude_mm * float(u(0.95, 1.25)),
        amplitude_sd=float(u(0.05, 0.22)),
        angle_sd_deg=float(u(4.0, 14.0)),
        towards=float(u(0.0, 0.5)) if rng.random() < 0.4 else 0.0,
        pick_width_mm=float(u(1.5, 6.0)),
        release_s=log_uniform(rng, 5e-5, 1e-3),
        pick_noise=float(u(0.0, 0.3)),
        finger_sd=float(u(0.0, 0.4)),
        gap_s=float(u(0.0, 0.06)),
        squeak=float(rng.choice([0.0, 0.05])),
        unmuted=float(u(0.0, 0.04)) if rng.random() < 0.4 else 0.0,
        release_sd=float(u(0.0, 0.7)),
    )


def draw_neck(seed: int, model: str | None = None) -> Drawn:
    """Return the take of a seed, two of three by rough hands.

    Parameters
    ----------
    model
        String model, of `MODELS`; None draws the first two in turn.
    """
    rng = np.random.default_rng([seed, 7])
    guitar = drawn_guitar(rng)
    kind = KINDS[int(rng.integers(len(KINDS)))]
    neck = drawn_neck(rng, guitar, drawn_truth(rng, kind, guitar), seed)
    performance, chain = drawn_performance(rng, neck), drawn_chain(rng)
    rough = seed % 3 > 0
    if rough:
        performance = _unevenly(performance, rng)
        chain = dataclasses.replace(
            chain, room_t60_s=float(rng.uniform(0.15, 0.6)), room_db=float(rng.uniform(-14.0, 0.0))
        )
    model = model or MODELS[seed % 2]
    take = simulate_take(neck, performance, chain, seed=seed, **drawn_string(model, rng))
    return Drawn(
        guitar=guitar,
        samples=take.samples,
        truth=take.truth,
        kind="rough neck" if rough else "neck",
        model=model,
    )
