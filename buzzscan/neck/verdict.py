"""What judging a neck returns, and the bars it is judged by.

Conventions
-----------
Findings come in the trade's order of work where they depend on each other, else most likely
first. Words are the trade's.

Limits
------
A position that was not played has no verdict and the reason "not played".
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import MISSING, dataclass, fields
from typing import Any, Literal, get_args

from buzzscan.errors import BarsError

__all__ = [
    "CONTACT_KINDS",
    "Bars",
    "Buzz",
    "Finding",
    "FindingKind",
    "HeardAs",
    "Judgement",
    "PitchWord",
    "Position",
    "Sustain",
    "is_marked",
    "tells_contact",
]

HeardAs = Literal["acoustic", "amp"]
Buzz = Literal["clean", "slight", "buzz", "choked"]
Sustain = Literal["rings", "short", "dead"]
PitchWord = Literal["in tune", "flat", "sharp"]
FindingKind = Literal[
    "high fret",
    "low fret",
    "low nut slot",
    "high nut slot",
    "neck too straight",
    "rising fret end",
    "low action",
    "dead spot",
    "saddle",
    "tuning",
    "retake",
]


def tells_contact(word: Buzz | None) -> bool:
    """Return whether a verdict is that the string strikes a fret, be it slightly."""
    return word not in {None, "clean"}


_BAR_RANGES = (
    ("buzz_db", -90.0, 0.0),
    ("pitch_cents", 0.5, 50.0),
    ("short_ratio", 1.0, 10.0),
    ("dead_ratio", 1.0, 10.0),
)
"""Least and highest value of each bar that is a number: beyond them all is marked, or nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """Where the user sets the bar between the verdicts.

    Parameters
    ----------
    buzz_db
        `buzz_db` from which a contact is called "buzz"; below it, "slight".
    heard
        "acoustic" judges the sound as recorded; "amp" only what a guitar amp passes.
    pitch_cents
        Error up to which a position is "in tune".
    short_ratio, dead_ratio
        How many times as fast as its string usually does a position falls to be "short" or "dead".

    Raises
    ------
    BarsError
        If a bar is no number in its range, or a dead spot falls less fast than a short one.
    """

    buzz_db: float = -35.0
    heard: HeardAs = "acoustic"
    pitch_cents: float = 6.0
    short_ratio: float = 1.5
    dead_ratio: float = 2.0

    def __post_init__(self) -> None:
        for name, low, high in _BAR_RANGES:
            value = getattr(self, name)
            if not low <= value <= high:
                raise BarsError(f"{name} is {value:g}, need {low:g} to {high:g}; choose another")
        if self.heard not in get_args(HeardAs):
            raise BarsError(f'heard is "{self.heard}", need "acoustic" or "amp"; choose one')
        if self.dead_ratio < self.short_ratio:
            raise BarsError(
                f"dead_ratio is {self.dead_ratio:g}, need at least short_ratio, "
                f"{self.short_ratio:g}; what is dead falls faster than what is short"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """Verdict for one string at one fret, from all its notes.

    Parameters
    ----------
    notes
        Ids of its notes, judged or not.
    cents, decay_db_per_s, t60_s
        The middle of its judged notes; None with `reason` when not measured.
    buzz_db, buzz_amp_db
        The same of those that strike a fret, where any does.
    contact
        Probability that a string strikes a fret after the attack, of the judged note that does so
        most surely.
    cents_spread, decay_spread_db_per_s, buzz_spread_db
        Half the range of the notes that give the value, None with fewer than two.
    decay_ratio
        Rate over the string's own smooth trend at this fret.
    buzz, sustain, pitch
        Verdict words, None when not judged.
    reason
        Why a verdict is missing, or that the passes contradict each other; empty otherwise.
    passes_disagree
        Whether one pass strikes a fret and another does not.
    silent
        Whether it was picked and no note was heard of it.
    """

    string: int
    fret: int
    notes: tuple[int, ...]
    cents: float | None
    cents_spread: float | None
    decay_db_per_s: float | None
    decay_spread_db_per_s: float | None
    decay_ratio: float | None
    t60_s: float | None
    buzz_db: float | None
    buzz_amp_db: float | None
    buzz_spread_db: float | None
    contact: float | None
    buzz: Buzz | None
    sustain: Sustain | None
    pitch: PitchWord | None
    reason: str
    passes_disagree: bool = False
    silent: bool = False

    @classmethod
    def unplayed(cls, string: int, fret: int) -> Position:
        """Return the position of a place that was not played."""
        untold: dict[str, Any] = {f.name: None for f in fields(cls) if f.default is MISSING}
        place = {"string": string, "fret": fret, "notes": (), "reason": "not played"}
        return cls(**untold | place)

    @property
    def doubtful(self) -> bool:
        """Whether it strikes in one of its passes and not in another."""
        return self.passes_disagree and tells_contact(self.buzz)

    @property
    def picked(self) -> bool:
        """Whether it was played, be it that no note was heard of it."""
        return bool(self.notes) or self.silent


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One likely cause, with its evidence and the next step.

    Parameters
    ----------
    kind
        Cause, in the trade's words.
    strings, frets
        Where the cause sits (the high fret itself, not the notes that buzz).
    confidence
        Probability of the cause, 0–1.
    height_mm, height_low_mm, height_high_mm
        Height of the fault and its 90 % interval, None where it cannot be told.
    summary
        What was found, with its evidence in numbers.
    next_step
        What to check by hand first, then what to do.
    notes
        Ids of the notes that are the evidence.
    move_mm, move_low_mm, move_high_mm
        How far the saddle has to go and its 90 % interval, positive away from the nut; None
        for every other kind, or when the scale is not known.
    """

    kind: FindingKind
    strings: tuple[int, ...]
    frets: tuple[int, ...]
    confidence: float
    height_mm: float | None
    height_low_mm: float | None
    height_high_mm: float | None
    summary: str
    next_step: str
    notes: tuple[int, ...]
    move_mm: float | None = None
    move_low_mm: float | None = None
    move_high_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """Everything the neck is judged to be.

    Parameters
    ----------
    positions
        One per string and fret, string 1 first, fret 0 upwards.
    findings
        Most useful first; empty when the neck is clean.
    """

    positions: tuple[Position, ...]
    findings: tuple[Finding, ...]


CONTACT_KINDS: frozenset[FindingKind] = frozenset(
    ("high fret", "low fret", "low nut slot", "neck too straight", "rising fret end", "low action")
)
"""Causes of contact with the frets."""


def is_marked(finding: Finding, positions: Iterable[Position]) -> bool:
    """Return whether a note behind a finding bears a verdict that one can hear.

    A cause of contact that is told by touches alone, while a string is picked, is for the bench: no
    note of it buzzes. One whose notes were lost altogether is marked by that.
    """
    if finding.kind not in CONTACT_KINDS:
        return True
    ids = set(finding.notes)
    own = [p for p in positions if ids.intersection(p.notes)]
    return not own or any(tells_contact(p.buzz) for p in own)
