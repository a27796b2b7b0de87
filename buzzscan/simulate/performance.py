"""How the run is played: order, pace, pick, and the mistakes of a human.

Conventions
-----------
Amplitudes are the displacement of the string at the pick in mm, for the thickest string;
thinner strings get the same force and so move by the inverse of their tension, 8 mm at most.

Limits
------
One note at a time, but for notes that are left ringing. Mistakes are drawn independently for
every note.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from buzzscan.errors import GuitarError

__all__ = ["Event", "Performance", "plan"]

START_S = 0.8
SHORTEST_S = 0.1
SOFT_SHARE = 0.12
"""A soft pick's displacement over an ordinary one's."""
WRONG_SHARE = 0.6
"""How much of its time a wrong note gets before it is put right."""
CUT_SHARE = 0.25
RESTART_AFTER = (2, 8)
"""Notes of a string that are played before it is begun again: at least, less than."""
OVER_S = (0.5, 4.0)
PLUCK_SD = 0.08
"""Relative scatter of the pick's place (common practice, no source)."""


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
        Direction of the pick: 0 is along the frets, 90 straight away from the neck.
    towards
        Probability per note that the pick pushes the string towards the neck instead.
    pick_width_mm
        Width of the pick's contact.
    release_s, release_sd
        Time over which the string slides off the pick, and the standard deviation of its logarithm.
    pick_noise
        Level of the pick's own click over the loudest sample, 0–1.
    finger_sd
        Scatter (of the logarithm) of how much a fretted note loses at the finger.
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
        Probability per note of each mistake; a string's first note is not skipped.
    restart
        Probability per string that the player stops on the way up and starts the string again.
    ring_over
        Probability per string that its last note is left ringing into the next string.
    unmuted
        How much the open strings ring along, 0–1; 0 when the player mutes them, 0.05 is much.
    talk
        Probability per change of string, and per restart, that somebody talks.
    """

    pace_s: float = 0.6
    pace_sd: float = 0.08
    amplitude_mm: float = 0.55
    amplitude_sd: float = 0.1
    pluck_mm: float = 90.0
    angle_deg: float = 45.0
    angle_sd_deg: float = 8.0
    towards: float = 0.0
    pick_width_mm: float = 3.0
    release_s: float = 2e-4
    release_sd: float = 0.0
    pick_noise: float = 0.0
    finger_sd: float = 0.0
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
    restart: float = 0.0
    ring_over: float = 0.0
    unmuted: float = 0.0
    talk: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One pick of the run, before it sounds.

    Parameters
    ----------
    string, fret, direction
        Place on the neck, and "up" or "down".
    onset_s, duration_s
        When it is picked and how long it lasts as a note of the run.
    amplitude_mm, angle_deg, pluck_mm, pick_width_mm, release_s
        How it is picked; a negative angle pushes the string towards the neck.
    marks
        Mistakes: "soft", "repeat", "wrong", "cut", "restart" (the first after one),
        "ring over".
    squeak, thump
        Whether fingers squeak or something knocks before it.
    talk_s
        Seconds of talk before it, 0 for none.
    end_loss
        Factor on the loss at the string's ends.
    pick_noise
        Level of the pick's click.
    over_s
        Seconds for which it rings on after `duration_s`.
    """

    string: int
    fret: int
    direction: Literal["up", "down"]
    onset_s: float
    duration_s: float
    amplitude_mm: float
    angle_deg: float
    pluck_mm: float
    pick_width_mm: float = 3.0
    release_s: float = 2e-4
    marks: tuple[str, ...] = ()
    squeak: bool = False
    thump: bool = False
    talk_s: float = 0.0
    end_loss: float = 1.0
    pick_noise: float = 0.0
    over_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """A note to be played; `begins` says that a string begins here."""

    string: int
    fret: int
    direction: Literal["up", "down"]
    begins: bool = False
    marks: tuple[str, ...] = ()


def plan(
    performance: Performance,
    *,
    n_strings: int,
    frets: int,
    rng: np.random.Generator,
    capo: int = 0,
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
    capo
        Fret that a capo holds down: no lower one sounds.

    Raises
    ------
    GuitarError
        If it plays a string or a fret that is not there.
    """
    p = replace(performance, first_fret=max(performance.first_fret, capo))
    last = frets if p.last_fret is None else min(p.last_fret, frets)
    for string in p.strings or ():
        if not 1 <= string <= n_strings:
            raise GuitarError(
                f"playing: string {string} is not on this guitar, need 1 to {n_strings}"
            )
    if p.first_fret > last:
        raise GuitarError(
            f"playing: first_fret is {p.first_fret}, need at most the last fret played, {last}"
        )
    played = _with_mistakes(p, _steps(p, n_strings, last), last, rng)
    events: list[Event] = []
    now = START_S
    for step in played:
        talk = 0.0
        if step.begins and events:
            now += float(rng.uniform(0.3, 1.0))
            if rng.random() < p.talk:
                talk = float(rng.uniform(0.8, 2.5))
                now += talk + 0.4
        period = max(p.pace_s * float(np.exp(rng.normal(0.0, p.pace_sd))), SHORTEST_S)
        gap = float(rng.uniform(0.0, min(p.gap_s, period / 4.0)))
        events.append(_picked(p, step, onset_s=now, rings_s=period - gap, talk_s=talk, rng=rng))
        now += period
    return tuple(_ringing_over(p, events, rng))


def _steps(performance: Performance, n_strings: int, last: int) -> list[_Step]:
    """Return the run as it is meant."""
    strings = performance.strings or tuple(range(n_strings, 0, -1))
    up = list(range(performance.first_fret, last + 1))
    down = up[::-1] if performance.passes == "up-down" else []
    if performance.order == "across":
        steps = [_Step(string=s, fret=f, direction="up") for f in up for s in strings]
        return steps + [
            _Step(string=s, fret=f, direction="down") for f in down for s in strings[::-1]
        ]
    steps = []
    for s in strings:
        steps += [_Step(string=s, fret=f, direction="up", begins=f == up[0]) for f in up]
        steps += [_Step(string=s, fret=f, direction="down") for f in down]
    return steps


def _with_mistakes(
    p: Performance, steps: list[_Step], last: int, rng: np.random.Generator
) -> list[_Step]:
    """Return the run as it is played: notes left out, doubled, missed, strings begun again."""
    played: list[_Step] = []
    for i, step in enumerate(steps):
        begins, marks = step.begins, step.marks
        if begins and rng.random() < p.restart:
            tried = steps[i : i + int(rng.integers(*RESTART_AFTER))]
            played += [t for t in tried if t.string == step.string and t.direction == "up"]
            marks = ("restart",)
        if not begins and rng.random() < p.skip:
            continue
        if rng.random() < p.wrong and step.fret + 1 <= last:
            played.append(replace(step, fret=step.fret + 1, begins=begins, marks=("wrong",)))
            begins = False
        if rng.random() < p.soft:
            marks = (*marks, "soft")
        played.append(replace(step, begins=begins, marks=marks))
        if rng.random() < p.repeat:
            played.append(replace(step, begins=False, marks=("repeat",)))
    return played


def _picked(
    p: Performance,
    step: _Step,
    *,
    onset_s: float,
    rings_s: float,
    talk_s: float,
    rng: np.random.Generator,
) -> Event:
    """Return one pick with its human scatter."""
    marks = step.marks
    if "wrong" in marks:
        rings_s *= WRONG_SHARE
    if rng.random() < p.cut:
        rings_s *= CUT_SHARE
        marks = (*marks, "cut")
    amplitude = p.amplitude_mm * float(np.exp(rng.normal(0.0, p.amplitude_sd)))
    angle = float(np.clip(p.angle_deg + rng.normal(0.0, p.angle_sd_deg), 0.1, 90.0))
    finger = float(np.exp(rng.normal(0.0, p.finger_sd)))
    # an even hand draws nothing: its takes are as they were before hands were uneven in this
    slip = float(np.exp(rng.normal(0.0, p.release_sd))) if p.release_sd > 0.0 else 1.0
    return Event(
        string=step.string,
        fret=step.fret,
        direction=step.direction,
        onset_s=onset_s,
        duration_s=rings_s,
        amplitude_mm=amplitude * (SOFT_SHARE if "soft" in marks else 1.0),
        angle_deg=-angle if rng.random() < p.towards else angle,
        pluck_mm=p.pluck_mm * float(np.exp(rng.normal(0.0, PLUCK_SD))),
        pick_width_mm=p.pick_width_mm,
        release_s=p.release_s * slip,
        marks=marks,
        squeak=bool(rng.random() < p.squeak),
        thump=bool(rng.random() < p.thump),
        talk_s=talk_s,
        end_loss=finger if step.fret > 0 else 1.0,
        pick_noise=p.pick_noise * float(rng.uniform(0.3, 1.0)),
    )


def _ringing_over(p: Performance, events: list[Event], rng: np.random.Generator) -> list[Event]:
    """Return the events with the last of some strings left ringing."""
    out = []
    for event, following in zip(events, [*events[1:], None], strict=True):
        leaves = following is not None and following.string != event.string
        if leaves and p.order == "along" and rng.random() < p.ring_over:
            over = float(rng.uniform(*OVER_S))
            out.append(replace(event, over_s=over, marks=(*event.marks, "ring over")))
        else:
            out.append(event)
    return out
