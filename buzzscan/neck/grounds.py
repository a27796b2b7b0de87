"""What the verdicts say for a cause and against it, in words.

Conventions
-----------
Only positions with a verdict are counted, on the strings of the cause alone. "Rings clear" is the
verdict clean; slight buzz is buzz. A position that was not judged is passed over.

Limits
------
Says where buzz was heard, not which fret the string struck: that is for the cause to explain.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from buzzscan.neck.positions import Place
from buzzscan.neck.verdict import FindingKind, Position
from buzzscan.spans import listed

__all__ = ["Grounds", "frets_named", "grounds", "place_named", "reach", "strings_named"]

Positions = Mapping[Place, Position]

_MOST_PARTS = 3
"""Strings that buzz at different frets are told apart up to here; more is read off the map."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grounds:
    """The sentence on what is heard, and clauses on what rings clear or does not."""

    heard: str
    clear: tuple[str, ...]


def strings_named(strings: Sequence[int]) -> str:
    """Return "string 6" or "strings 4–6"."""
    return f"string{'s' if len(strings) > 1 else ''} {listed(strings)}"


def frets_named(frets: Sequence[int]) -> str:
    """Return "fret 9" or "frets 7–9"."""
    return f"fret{'s' if len(frets) > 1 else ''} {listed(frets)}"


def place_named(string: int, fret: int) -> str:
    """Return "string 3 at fret 7", or "open string 3"."""
    return f"string {string} at fret {fret}" if fret else f"open string {string}"


def _part(strings: Sequence[int], frets: Sequence[int]) -> str:
    fretted = [f for f in frets if f > 0]
    if not fretted:
        return f"open {strings_named(strings)}"
    opened = "the open string and " if 0 in frets else ""
    return f"{opened}{frets_named(fretted)} on {strings_named(strings)}"


def reach(places: Iterable[Place]) -> str:
    """Return places in short: "frets 7–8 on string 1, fret 8 on strings 2–3"."""
    frets_of: dict[int, list[int]] = defaultdict(list)
    for string, fret in sorted(places):
        frets_of[string].append(fret)
    strings_of: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for string, frets in frets_of.items():
        strings_of[tuple(frets)].append(string)
    if len(strings_of) <= _MOST_PARTS:
        return ", ".join(_part(strings, frets) for frets, strings in strings_of.items())
    every = sorted({f for frets in frets_of.values() for f in frets})
    return f"{sum(map(len, frets_of.values()))} places from fret {every[0]} to {every[-1]} on " + (
        strings_named(sorted(frets_of))
    )


def _clear(what: str, verdicts: Sequence[bool], *, one: bool = False) -> str:
    """Return how many of some notes ring clear, or nothing where none was judged."""
    if not verdicts:
        return ""
    ring = "rings" if one else "ring"
    if all(verdicts):
        return f"{what} {ring} clear"
    if not any(verdicts):
        return f"{what} {'buzzes' if one else 'buzz'} too"
    if one:
        return f"{what} rings clear on {sum(verdicts)} of {len(verdicts)} strings"
    return f"of {what} {sum(verdicts)} of {len(verdicts)} ring clear"


def _heard(what: str, places: Sequence[Place], positions: Positions, *, one: bool) -> str:
    """Return what the notes of a cause do, no more than their verdicts say."""
    told = [positions[p] for p in places if p in positions]
    if any(p.buzz not in (None, "clean") for p in told):
        return f"{what} {'buzzes' if one else 'buzz'}"
    if told and not any(p.notes for p in told):
        return f"{what} gave no note"
    return f"{what} may buzz, too faintly to be marked"


def _on_most(what: str, strings: Sequence[int], verdicts: Mapping[Place, bool]) -> str:
    """Return on how many strings some notes buzz."""
    judged = {s for s, _ in verdicts if s in strings}
    buzzing = {s for (s, _), clear in verdicts.items() if not clear and s in strings}
    if not buzzing:
        return f"{what} may buzz, too faintly to be marked"
    return f"{what} buzz on {len(buzzing)} of {len(judged)} strings"


def grounds(
    kind: FindingKind,
    frets: Sequence[int],
    strings: Sequence[int],
    places: Sequence[Place],
    positions: Positions,
) -> Grounds:
    """Return what the verdicts say about a cause of contact.

    Parameters
    ----------
    kind, frets, strings
        The cause, and the strings whose notes speak for it.
    places
        (string, fret) that it explains.
    positions
        Verdicts by place.
    """
    clear = {
        place: p.buzz == "clean"
        for place, p in positions.items()
        if p.buzz is not None and p.string in strings
    }

    def between(first: int, stop: int) -> dict[Place, bool]:
        return {p: c for p, c in clear.items() if first <= p[1] < stop}

    end = max((f for _, f in positions), default=0) + 1
    at, past = frets[0], frets[-1] + 1
    behind, above = list(between(0, at).values()), list(between(past, end).values())
    itself = list(between(at, past).values())
    if kind == "high fret":
        heard = _heard(f"Notes held behind fret {at}", places, positions, one=False)
        rest = [_clear(f"fret {at} itself", itself, one=True), _clear("the notes above it", above)]
    elif kind == "low fret":
        heard = _heard(f"The notes at fret {at}", places, positions, one=False)
        rest = [_clear("the notes behind it", behind), _clear("those above it", above)]
    elif kind == "low nut slot":
        heard = _heard(
            f"The open string{'s' if len(strings) > 1 else ''}",
            places,
            positions,
            one=len(strings) == 1,
        )
        rest = [_clear("the fretted notes", above)]
    elif kind == "neck too straight":
        heard = _on_most("Notes over the first frets", strings, between(0, past))
        rest = [_clear("those further up", above)]
    else:
        heard = _on_most(f"Notes from about fret {at} up", strings, between(at, end))
        rest = [_clear("those below", behind)]
    return Grounds(heard=heard, clear=tuple(clause for clause in rest if clause))
