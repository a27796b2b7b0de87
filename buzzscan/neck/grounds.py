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
from buzzscan.neck.verdict import FindingKind, Position, tells_contact
from buzzscan.spans import frets_named, strings_named

__all__ = ["FAINTLY", "FAINTLY_ONE", "Grounds", "any_marked", "grounds", "place_named", "reach"]

Positions = Mapping[Place, Position]

_MOST_PARTS = 3
"""Strings that buzz at different frets are told apart up to here; more is read off the map."""
FAINTLY = "touch a fret only while picked, or buzz too faintly to be marked"
FAINTLY_ONE = "touches a fret only while picked, or buzzes too faintly to be marked"
"""What notes do, or one does, that speak for a cause although none is marked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grounds:
    """The sentence on what is heard, and clauses on what rings clear or does not."""

    heard: str
    clear: tuple[str, ...]


def place_named(string: int, fret: int) -> str:
    """Return "string 3 at fret 7", or "open string 3"."""
    return f"string {string} at fret {fret}" if fret else f"open string {string}"


def _part(strings: Sequence[int], frets: Sequence[int]) -> str:
    fretted = [f for f in frets if f > 0]
    if not fretted:
        return f"open {strings_named(strings)}"
    opened = "the open string and " if 0 in frets else ""
    return f"{opened}{frets_named(fretted)} on {strings_named(strings)}"


def reach(places: Iterable[Place], *, counted: bool = False) -> str:
    """Return places in short: "frets 7–8 on string 1, fret 8 on strings 2–3".

    Parameters
    ----------
    counted
        Whether the sentence has said before how many they are, and on which strings.
    """
    frets_of: dict[int, list[int]] = defaultdict(list)
    for string, fret in sorted(places):
        frets_of[string].append(fret)
    strings_of: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for string, frets in frets_of.items():
        strings_of[tuple(frets)].append(string)
    if len(strings_of) <= _MOST_PARTS:
        return ", ".join(_part(strings, frets) for frets, strings in strings_of.items())
    every = sorted({f for frets in frets_of.values() for f in frets})
    span = f"from fret {every[0]} to {every[-1]}"
    if counted:
        return span
    n = sum(map(len, frets_of.values()))
    return f"{n} places {span} on {strings_named(sorted(frets_of))}"


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


def any_marked(places: Iterable[Place], positions: Positions) -> bool:
    """Return whether any of some places bears a verdict of contact."""
    return any(tells_contact(positions[p].buzz) for p in places if p in positions)


def _heard(what: str, places: Sequence[Place], positions: Positions, *, one: bool) -> str:
    """Return what the notes of a cause do, no more than their verdicts say."""
    told = [positions[p] for p in places if p in positions]
    if any_marked(places, positions):
        return f"{what} {'buzzes' if one else 'buzz'}"
    if told and not any(p.notes for p in told):
        return f"{what} gave no note"
    return f"{what} {FAINTLY_ONE if one else FAINTLY}"


def _on_most(what: str, verdicts: Mapping[Place, bool]) -> str:
    """Return on how many of the strings judged some notes buzz."""
    judged = {s for s, _ in verdicts}
    buzzing = {s for (s, _), clear in verdicts.items() if not clear}
    if not buzzing:
        return f"{what} {FAINTLY}"
    return f"{what} buzz on {len(buzzing)} of {len(judged)} strings"


def _clear_of(
    strings: Sequence[int], positions: Positions, frets: Sequence[int]
) -> tuple[dict[Place, bool], dict[Place, bool], dict[Place, bool]]:
    """Return whether the places judged ring clear, behind some frets, at them and above them."""
    parts: tuple[dict[Place, bool], dict[Place, bool], dict[Place, bool]] = ({}, {}, {})
    for place, p in positions.items():
        if p.buzz is None or p.string not in strings:
            continue
        which = int(p.fret >= frets[0]) + int(p.fret > frets[-1])
        parts[which][place] = p.buzz == "clean"
    return parts


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
    at, one = frets[0], len(strings) == 1
    behind, itself, above = _clear_of(strings, positions, frets)
    under, on, over = (list(part.values()) for part in (behind, itself, above))
    if kind == "high fret":
        heard = _heard(f"Notes held behind fret {at}", places, positions, one=False)
        rest = [_clear(f"fret {at} itself", on, one=True), _clear("the notes above it", over)]
    elif kind == "low fret":
        heard = _heard(f"The notes at fret {at}", places, positions, one=False)
        rest = [_clear("the notes behind it", under), _clear("those above it", over)]
    elif kind == "low nut slot":
        what = "The open string" if one else "The open strings"
        heard = _heard(what, places, positions, one=one)
        rest = [_clear("the fretted notes", over)]
    elif kind == "neck too straight":
        heard = _on_most("Notes over the first frets", behind | itself)
        rest = [_clear("those further up", over)]
    else:
        heard = _on_most(f"Notes from about fret {at} up", itself | above)
        rest = [_clear("those below", under)]
    return Grounds(heard=heard, clear=tuple(clause for clause in rest if clause))
