"""How sure each place is, and which notes must not count.

Conventions
-----------
A note without a fault counts. One whose only fault is that it was picked softly may count all the
same for what is heard of it: that can show that it buzzes, and not that it does not
(`buzzscan.measures.measure`).

Limits
------
A choked note is short or at another pitch by its own fault and counts; one that a hand cut short
does not. One that chokes too soon to be measured cannot be told from that here, but over all passes
(`buzzscan.neck.positions`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from buzzscan.notes.ending import Ending
from buzzscan.notes.hearing import Heard
from buzzscan.notes.note import NoteFault
from buzzscan.notes.placing import Placed

__all__ = ["Fault", "faults_of", "place_odds", "reason_of"]

FloatArray = npt.NDArray[np.float64]

_SOFT_DB = 12.0
"""A pick this far under its string's usual level cannot show what a hard one would."""
_SHORT_S, _SHORT_SHARE = 0.12, 0.6
"""Shorter than this, and than most of the way to the next note, a note was cut off."""
_BURIED_SHARE = 0.12
_OTHER_PITCH_CENTS, _LIKELIER = 70.0, 0.6
"""A note that sounds a higher fret than its own either chokes on it or was picked there, once more:
only a place that is clearly the likelier one tells which."""
_STEPS_OF_PACE, _TWO_STEPS = 6, 1.6
"""Steps of the run before and after one that tell its pace, and how many of them make two."""
_BESIDE, _STRAY_CENTS = 2, 35.0
"""So many notes before and after one, and frets away, another of the run lies. What has none there
and is this far off its fret is talk or a knock: no string is that far off all along."""
_TAIL_S = 0.2
"""What is shorter, and sounds as the note before it, may be what rings on of that: it does for a
tenth of a second and more while the finger is lifted (own simulated takes)."""


def place_odds(placed: Placed) -> FloatArray:
    """Return for each note of the path the probability that its place is right, 0–1.

    It compares with the best other place for the note alone and with the best other string for
    the whole stretch that it belongs to. Under a half the other is likelier for that note, and the
    run as a whole likelier as it lies.
    """
    rows, at, n = placed.path.rows, placed.path.states, placed.evidence.shape[1]
    if not len(rows):
        return np.zeros(0)
    moves, place_of = placed.moves, at % n
    alone = np.empty(len(rows))
    for k, (row, state) in enumerate(zip(rows, at, strict=True)):
        cost = -np.tile(placed.evidence[row], 2)
        if k:
            cost = cost + moves[at[k - 1]]
        if k + 1 < len(at):
            cost = cost + moves[:, at[k + 1]]
        own = cost[state]
        cost[place_of[k]] = cost[place_of[k] + n] = np.inf
        alone[k] = cost.min() - own
    return np.asarray(1.0 / (1.0 + np.exp(-np.minimum(alone, _stretch_gaps(placed)))))


def _stretch_gaps(placed: Placed) -> FloatArray:
    """Return what moving each note's whole stretch to another string would cost, in nats."""
    rows, at, n = placed.path.rows, placed.path.states, placed.evidence.shape[1]
    states = placed.states
    string, fret, pitch = states.string[at], states.fret[at], states.pitch[at]
    gaps = np.full(len(rows), np.inf)
    index = {
        (int(s), int(f)): i
        for i, (s, f) in enumerate(zip(states.string[:n], states.fret[:n], strict=True))
    }
    open_pitch = {s: float(states.pitch[i] - f) for (s, f), i in index.items()}
    bounds = np.flatnonzero(np.diff(string)) + 1
    for part in np.split(np.arange(len(rows)), bounds):
        own = placed.evidence[rows[part], at[part] % n].sum()
        for other, base in open_pitch.items():
            if other == string[part[0]]:
                continue
            frets = np.round(pitch[part] - base).astype(int)
            places = [index.get((other, int(f))) for f in frets]
            if any(p is None for p in places):
                continue
            there = placed.evidence[rows[part], [p for p in places if p is not None]].sum()
            low = abs(int(frets.min()) - int(fret[part].min()))
            # Stretches lie at the bottom of the neck; elsewhere is that much less likely.
            gaps[part] = np.minimum(gaps[part], own - there + min(1.0 + 0.5 * low, 4.0))
    return gaps


def _cents_above(heard: Heard, placed: Placed) -> FloatArray:
    """Return how far each note sounds above its place, the instrument's own offset aside."""
    off = placed.off_cents(heard, 440.0)  # whatever A4 is at, it is part of the offset
    return np.asarray(off - np.median(off), np.float64) if len(off) else off


def _as_the_note_before(heard: Heard, placed: Placed) -> npt.NDArray[np.bool_]:
    """Return whether each note sounds at the pitch of the one before it, on the same string."""
    midi = heard.midi(440.0)[placed.path.rows]  # the reference cancels
    string = placed.states.string[placed.path.states]
    same = (np.abs(np.diff(midi)) < 0.5) & (np.diff(string) == 0)
    return np.concatenate([np.zeros(min(len(midi), 1), np.bool_), same])


def _after_one_lost(heard: Heard, placed: Placed, onsets_s: FloatArray) -> npt.NDArray[np.bool_]:
    """Return whether each note has the time of two before it, and the same pitch again after it.

    So does the last fret of a run, picked again to turn, where the note before it is not heard.
    """
    out = np.zeros(len(onsets_s), np.bool_)
    if len(out) < _STEPS_OF_PACE:
        return out
    string = placed.states.string[placed.path.states]
    steps = np.diff(onsets_s)
    same = np.diff(string) == 0
    pace = np.array(
        [
            np.median(steps[near][same[near]]) if same[near].any() else np.inf
            for near in (
                slice(max(k - _STEPS_OF_PACE, 0), k + _STEPS_OF_PACE) for k in range(len(steps))
            )
        ]
    )
    out[1:] = same & (steps > _TWO_STEPS * pace)
    out[:-1] &= _as_the_note_before(heard, placed)[1:]
    out[-1] = False
    return out


def _alone(placed: Placed) -> npt.NDArray[np.bool_]:
    """Return whether each note has none of the run beside it: same string, a fret or two away."""
    string = placed.states.string[placed.path.states]
    fret = placed.states.fret[placed.path.states]
    out = np.ones(len(string), np.bool_)
    for step in range(1, _BESIDE + 1):
        beside = (string[step:] == string[:-step]) & (np.abs(fret[step:] - fret[:-step]) <= _BESIDE)
        out[step:] &= ~beside
        out[:-step] &= ~beside
    return out


class Fault(NamedTuple):
    """What is wrong with a note, and how that is said with the value found."""

    kind: NoteFault
    words: str


class _Check(NamedTuple):
    """One way to be wrong: which notes are, and the words for one of them."""

    kind: NoteFault
    holds: npt.NDArray[np.bool_]
    words: Callable[[int], str]


def faults_of(
    heard: Heard,
    placed: Placed,
    endings: Sequence[Ending],
    onsets_s: FloatArray,
    *,
    attack_db: FloatArray,
    odds: FloatArray,
) -> tuple[tuple[Fault, ...], ...]:
    """Return for each note what is wrong with it; a note that has no fault counts.

    Parameters
    ----------
    heard
        Candidates.
    placed
        Path through them.
    endings, onsets_s
        Of each note of the path.
    attack_db
        Level of the waveform right after each onset. A note that a fret chokes is loud there
        and nowhere else: it was not picked softly.
    odds
        That the place of each note is right.
    """
    checks = _checks(heard, placed, endings, onsets_s, odds=odds)
    level = heard.level_db[placed.path.rows]
    softer_db = np.minimum(
        placed.usual_on_string(level) - level, placed.usual_on_string(attack_db) - attack_db
    )
    out = []
    for k, under in enumerate(softer_db):
        faults = [Fault(c.kind, c.words(k)) for c in checks if c.holds[k]][:1]
        if under > _SOFT_DB:
            faults.insert(
                0, Fault("picked softly", f"{under:.0f} dB under its string's other notes")
            )
        out.append(tuple(faults))
    return tuple(out)


def _checks(
    heard: Heard,
    placed: Placed,
    endings: Sequence[Ending],
    onsets_s: FloatArray,
    *,
    odds: FloatArray,
) -> tuple[_Check, ...]:
    """Return what is looked for in every note but its strength, what says most of it first."""
    rows = placed.path.rows
    length_s = np.array([ending.end_s for ending in endings]) - onsets_s
    stopped = np.array([ending.stopped for ending in endings], np.bool_)
    time_s = np.append(np.diff(onsets_s), np.inf)
    whole = heard.whole_share[rows]
    above = _cents_above(heard, placed)
    fret = placed.states.fret[placed.path.states] + np.round(above / 100.0).astype(np.intp)
    doubtful = (odds < _LIKELIER) | _after_one_lost(heard, placed, onsets_s)
    higher = above > _OTHER_PITCH_CENTS
    return (
        _Check(
            "cut short",
            stopped & (length_s < _SHORT_S) & (length_s < _SHORT_SHARE * time_s),
            lambda k: f"cut short after {length_s[k]:.2f} s, need {_SHORT_S:.2f} s",
        ),
        _Check(
            "buried",
            (whole < _BURIED_SHARE) & (heard.share[rows] < 2 * _BURIED_SHARE),
            lambda k: (
                f"buried under other sound: its partials are {100.0 * whole[k]:.0f} % of the level"
            ),
        ),
        _Check(
            "picked again",
            higher & doubtful & (heard.n_found[rows] > 1),
            lambda k: f"sounds as fret {fret[k]} does, and may be that fret picked again",
        ),
        _Check(
            "stands alone",
            _alone(placed) & (np.abs(above) > _STRAY_CENTS),
            lambda k: (
                f"stands alone in the run and sounds {abs(above[k]):.0f} cents off its fret: "
                "no note of it"
            ),
        ),
        _Check(
            "rings on",
            higher & _as_the_note_before(heard, placed) & (length_s < _TAIL_S),
            lambda _: "sounds as the note before does, and may be what rings on of that",
        ),
    )


def reason_of(faults: Sequence[Fault]) -> str:
    """Return in words why a note does not count, or nothing where it has no fault."""
    if not faults:
        return ""
    first, *others = faults
    if first.kind != "picked softly":
        return first.words
    if not others:
        return f"picked too softly: {first.words}"
    return f"picked softly, {first.words}, and {others[0].words}"
