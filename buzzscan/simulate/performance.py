"""How the run is played: order, pace, pick, and the mistakes of a human.

Conventions
-----------
Amplitudes are the displacement of the string at the pick in mm, for the thickest string;
thinner strings get the same force and so move by the inverse of their tension.

Limits
------
One note at a time. Mistakes are drawn independently for every note.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

__all__ = ["Event", "Performance", "plan"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Performance:
    """How a run is played.

    Parameters
    ----------
    pace_s
        Seconds from note to note.
    pace_sd
        Relative standard deviation of the pace.
    amplitude_mm, amplitude_sd
        Displacement at the pick, and its relative standard deviation.
    pluck_mm
        Distance of the pick from the saddle.
    angle_deg, angle_sd_deg
        Direction of the pick: 0 is along the frets, 90 straight into the neck.
    pick_width_mm
        Width of the pick's contact.
    order
        "along" each string, or "across" the strings position by position.
    passes
        "up-down" or "up".
    strings
        Strings in the order they are played, None for thickest to thinnest.
    first_fret, last_fret
        Range of frets; None for the last fret of the guitar.
    gap_s
        Longest silence between a note's stop and the next pick.
    skip, repeat, soft, wrong, squeak, thump, cut
        Probability per note of each mistake.
    talk
        Probability per change of string that somebody talks.
    """

    pace_s: float = 0.6
    pace_sd: float = 0.08
    amplitude_mm: float = 0.55
    amplitude_sd: float = 0.1
    pluck_mm: float = 90.0
    angle_deg: float = 45.0
    angle_sd_deg: float = 8.0
    pick_width_mm: float = 3.0
    order: Literal["along", "across"] = "along"
    passes: Literal["up-down", "up"] = "up-down"
    strings: tuple[int, ...] | None = None
    first_fret: int = 0
    last_fret: int | None = None
    gap_s: float = 0.04
    skip: float = 0.0
    repeat: float = 0.0
    soft: float = 0.0
    wrong: float = 0.0
    squeak: float = 0.0
    thump: float = 0.0
    cut: float = 0.0
    talk: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One pick of the run, before it sounds.

    Parameters
    ----------
    string, fret, direction
        Place on the neck, and "up" or "down".
    onset_s, duration_s
        When it is picked and for how long it rings.
    amplitude_mm, angle_deg, pluck_mm, pick_width_mm
        How it is picked.
    marks
        Mistakes: "soft", "repeat", "wrong", "cut".
    squeak, thump
        Whether fingers squeak or something knocks before it.
    talk_s
        Seconds of talk before it, 0 for none.
    """

    string: int
    fret: int
    direction: Literal["up", "down"]
    onset_s: float
    duration_s: float
    amplitude_mm: float
    angle_deg: float
    pluck_mm: float
    pick_width_mm: float
    marks: tuple[str, ...]
    squeak: bool
    thump: bool
    talk_s: float


Step = tuple[int, int, Literal["up", "down"]]


def _steps(performance: Performance, n_strings: int, last: int) -> list[Step]:
    strings = performance.strings or tuple(range(n_strings, 0, -1))
    frets = list(range(performance.first_fret, last + 1))
    steps: list[Step] = []
    if performance.order == "along":
        for string in strings:
            steps += [(string, fret, "up") for fret in frets]
            if performance.passes == "up-down":
                steps += [(string, fret, "down") for fret in reversed(frets)]
        return steps
    steps = [(string, fret, "up") for fret in frets for string in strings]
    if performance.passes == "up-down":
        steps += [(s, f, "down") for f in reversed(frets) for s in reversed(strings)]
    return steps


def plan(
    performance: Performance, *, n_strings: int, frets: int, rng: np.random.Generator
) -> tuple[Event, ...]:
    """Return the picks of a run in time order.

    Parameters
    ----------
    performance
        How it is played.
    n_strings, frets
        Size of the neck.
    rng
        Source of all variation.
    """
    p = performance
    last = frets if p.last_fret is None else min(p.last_fret, frets)
    played: list[tuple[Step, tuple[str, ...]]] = []
    for step in _steps(p, n_strings, last):
        string, fret, direction = step
        if rng.random() < p.skip:
            continue
        if rng.random() < p.wrong and fret + 1 <= last:
            played.append(((string, fret + 1, direction), ("wrong",)))
        played.append((step, ("soft",) if rng.random() < p.soft else ()))
        if rng.random() < p.repeat:
            played.append((step, ("repeat",)))
    events = []
    now = 0.8
    before: int | None = None
    for (string, fret, direction), drawn in played:
        marks = drawn
        new_string = before is not None and string != before and p.order == "along"
        talk = 0.0
        if new_string:
            now += float(rng.uniform(0.3, 1.0))
            if rng.random() < p.talk:
                talk = float(rng.uniform(0.8, 2.5))
                now += talk + 0.4
        duration = max(p.pace_s * float(np.exp(rng.normal(0.0, p.pace_sd))), 0.1)
        gap = float(rng.uniform(0.0, min(p.gap_s, duration / 4.0)))
        rings = duration - gap
        if "wrong" in marks:
            rings *= 0.6
        if rng.random() < p.cut:
            rings *= 0.25
            marks = (*marks, "cut")
        amplitude = p.amplitude_mm * float(np.exp(rng.normal(0.0, p.amplitude_sd)))
        events.append(
            Event(
                string=string,
                fret=fret,
                direction=direction,
                onset_s=now,
                duration_s=rings,
                amplitude_mm=amplitude * (0.12 if "soft" in marks else 1.0),
                angle_deg=p.angle_deg + float(rng.normal(0.0, p.angle_sd_deg)),
                pluck_mm=p.pluck_mm * float(np.exp(rng.normal(0.0, 0.08))),
                pick_width_mm=p.pick_width_mm,
                marks=marks,
                squeak=bool(rng.random() < p.squeak),
                thump=bool(rng.random() < p.thump),
                talk_s=talk,
            )
        )
        now += duration
        before = string
    return tuple(events)
