"""What a short straightedge over three frets shows of a high or a low fret.

Conventions
-----------
The edge lies on three neighbouring frets. It rocks when the middle one stands above the line
through the outer two, and shows light over the middle one when that lies below it. Frets count
from 1; the nut is no rest for an edge, as its slots are not level with the frets.

Limits
------
Tells two suspects apart when all other frets under the edge are level. Geometry alone: how little
the eye or the hand still notices is not said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from buzzscan.neck.verdict import FindingKind

__all__ = ["Suspect", "alike", "check", "shows", "sign", "telling"]

Frets = tuple[int, int, int]
Sign = Literal["rocks", "light"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """A fret that may be high or low; `kind` is "high fret" or "low fret"."""

    kind: FindingKind
    fret: int

    def __str__(self) -> str:
        """Return "fret 9 is high"."""
        return f"fret {self.fret} is {self.kind.removesuffix(' fret')}"


def shows(frets: Frets, suspect: Suspect) -> Sign | None:
    """Return what an edge over three frets shows if one suspect is off and the others level."""
    if suspect.fret not in frets:
        return None
    # a raised end lifts the edge off the middle fret, just as a middle fret that is low does
    stands_out = (suspect.fret == frets[1]) == (suspect.kind == "high fret")
    return "rocks" if stands_out else "light"


def telling(suspect: Suspect, other: Suspect | None, *, last: int) -> Frets | None:
    """Return three frets on which one suspect shows and the other does not show the same.

    Parameters
    ----------
    other
        The other suspect; None where only one fret is in question.
    last
        Highest fret of the neck.

    Returns
    -------
    tuple of three frets or None
        With the suspect in the middle if that tells, as it shows most there. None where no
        three frets between fret 1 and the last do, near the ends of the neck.
    """
    at = suspect.fret
    for first in (at - 1, at, at - 2):
        frets = (first, first + 1, first + 2)
        if first < 1 or frets[2] > last:
            continue
        if other is None or shows(frets, other) != shows(frets, suspect):
            return frets
    return None


def alike(suspect: Suspect, *, last: int) -> Suspect | None:
    """Return the fault beside a suspect that sounds most like it, or None at the ends.

    A note held at a low fret strikes the next one, as a note held before a high fret does.
    """
    if suspect.kind == "high fret":
        return Suspect(kind="low fret", fret=suspect.fret - 1) if suspect.fret > 1 else None
    return Suspect(kind="high fret", fret=suspect.fret + 1) if suspect.fret < last else None


def _over(frets: Frets) -> str:
    return f"over frets {frets[0]}–{frets[2]}"


def _seen(frets: Frets, suspect: Suspect) -> str:
    verb = "rocking on" if shows(frets, suspect) == "rocks" else "light over"
    return f"{verb} fret {frets[1]}"


def _shown(frets: Frets, suspect: Suspect) -> str:
    return f"{_seen(frets, suspect)} shows that {suspect}"


def sign(suspect: Suspect, *, last: int) -> str:
    """Return the clause on what shows that a fret is off, or nothing on a neck of few frets."""
    frets = telling(suspect, alike(suspect, last=last), last=last)
    frets = frets or telling(suspect, None, last=last)
    if frets is None:
        return ""
    verb = "rocks on" if shows(frets, suspect) == "rocks" else "shows light over"
    return f"a short straightedge {_over(frets)} {verb} fret {frets[1]} if {suspect}"


def _trap(suspect: Suspect, other: Suspect) -> str:
    """Return the warning of the usual check where either suspect passes it, or nothing."""
    usual = (suspect.fret - 1, suspect.fret, suspect.fret + 1)
    seen = shows(usual, suspect)
    if seen != shows(usual, other):
        return ""
    what = "the edge rocks on" if seen == "rocks" else "light shows over"
    return f" Frets {usual[0]}–{usual[2]} alone do not tell: {what} fret {suspect.fret} either way."


def check(suspect: Suspect, other: Suspect | None, *, last: int, where: str = "") -> str:
    """Return the check by hand that tells a suspect from another, or nothing where none does.

    Parameters
    ----------
    other
        The other suspect, or None.
    last
        Highest fret of the neck.
    where
        Words for the strings concerned.
    """
    own = telling(suspect, other, last=last)
    its = telling(other, suspect, last=last) if other is not None else None
    told = [(f, s) for f, s in ((own, suspect), (its, other)) if f is not None and s is not None]
    if not told:
        return ""
    under = f" ({where})" if where else ""
    text = f"Lay a short straightedge {_over(told[0][0])}{under}: {_shown(*told[0])}."
    if other is None:
        return text
    if len(told) > 1:
        text += f" Lay it {_over(told[1][0])}: {_shown(*told[1])}."
        return text + (_trap(suspect, other) if 1 < suspect.fret < last else "")
    # near the ends one of the two shows only on frets that hold both: it is what is left
    left = suspect if own is None else other
    both = telling(left, None, last=last)
    if both is not None:
        text += f" If not, {_seen(both, left)} with the edge {_over(both)} shows that {left}."
    return text
