"""What comparing two scans returns.

Conventions
-----------
Changes are after minus before in dB and cents, after over before for sustain.

Limits
------
Types only; how they come about is in the other modules of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from buzzscan.neck.verdict import Buzz, FindingKind
from buzzscan.scanning import Scan

__all__ = [
    "Change",
    "ComparedFinding",
    "ComparedPosition",
    "Comparison",
    "Pick",
    "Strength",
    "StringStrength",
]

Change = Literal["cured", "better", "same", "worse", "new", "not comparable"]
Pick = Literal["alike", "softer", "harder", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StringStrength:
    """How hard one string was picked in the after take against the before take.

    Parameters
    ----------
    string
        Its number.
    level_change_db
        Median change of the attack level over its positions.
    gain_change_db
        Part of it that is a change of recording gain, None where that cannot be told.
    pick_change_db
        Part of it that is the pick, None where that cannot be told.
    pick
        The same in one word.
    """

    string: int
    level_change_db: float
    gain_change_db: float | None
    pick_change_db: float | None
    pick: Pick


@dataclass(frozen=True, slots=True, kw_only=True)
class Strength:
    """How hard the after take was picked against the before take.

    Parameters
    ----------
    level_change_db, gain_change_db, pick_change_db, pick
        As in `StringStrength`, over all strings.
    strings
        One for each string that both takes have.
    alike
        Whether all strings count as picked alike.
    sentence
        The same in words, without a full stop.
    """

    level_change_db: float
    gain_change_db: float | None
    pick_change_db: float | None
    pick: Pick
    strings: tuple[StringStrength, ...]
    alike: bool
    sentence: str

    def of(self, string: int) -> Pick:
        """Return the word for a string; that of the whole take where the string has none."""
        return next((s.pick for s in self.strings if s.string == string), self.pick)


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedPosition:
    """One position before and after.

    Parameters
    ----------
    string, fret
        Place on the neck.
    buzz_before, buzz_after
        Verdict words; None where not judged.
    buzz_change_db
        Change of the buzz level (negative is less), as the scans' bars hear it; None where it
        was not measured in both.
    sustain_change_ratio
        Time of fall after over before; above 1 rings longer.
    cents_change
        Change of pitch.
    change
        What became of the buzz.
    reason
        Why it cannot be compared, or why a difference does not count; empty otherwise.
    """

    string: int
    fret: int
    buzz_before: Buzz | None
    buzz_after: Buzz | None
    buzz_change_db: float | None
    sustain_change_ratio: float | None
    cents_change: float | None
    change: Change
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedFinding:
    """One cause before and after.

    Parameters
    ----------
    kind, strings, frets
        The cause, as in the scan that has it.
    change
        What became of it.
    summary
        The same in words, without a full stop.
    """

    kind: FindingKind
    strings: tuple[int, ...]
    frets: tuple[int, ...]
    change: Change
    summary: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two scans of one guitar side by side.

    Parameters
    ----------
    before, after
        The scans.
    strength
        Whether they were picked alike.
    positions
        One per position that both necks have, string 1 first, lowest fret first.
    findings
        What became of each cause: those of the before take, then new ones.
    remarks
        Sentences on what to know when reading it.
    summary
        The outcome in one or two sentences.
    """

    before: Scan
    after: Scan
    strength: Strength
    positions: tuple[ComparedPosition, ...]
    findings: tuple[ComparedFinding, ...]
    remarks: tuple[str, ...]
    summary: str
