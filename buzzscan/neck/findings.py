"""Findings in words, from what contact, decay and pitch have shown.

Conventions
-----------
A summary gives the evidence in numbers; a next step says what to check by hand first. Each
maker returns findings for one part of the evidence; `buzzscan.neck.judging` puts them in order.

Limits
------
Words only: nothing is measured or decided here that a number elsewhere does not say.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from buzzscan.neck.advice import ADVICE, how_sure, tell_apart
from buzzscan.neck.culprit import Found
from buzzscan.neck.deadspots import DeadSpot
from buzzscan.neck.positions import Place
from buzzscan.neck.verdict import Finding, FindingKind, Position
from buzzscan.spans import listed

__all__ = [
    "contact_finding",
    "dead_spot_finding",
    "low_action_finding",
    "strings_named",
]

Positions = Mapping[Place, Position]


def strings_named(strings: Sequence[int]) -> str:
    """Return "string 6" or "strings 4–6"."""
    return f"string{'s' if len(strings) > 1 else ''} {listed(strings)}"


def _frets_named(frets: Sequence[int]) -> str:
    return f"fret{'s' if len(frets) > 1 else ''} {listed(frets)}"


def _ids(places: Iterable[Place], positions: Positions) -> tuple[int, ...]:
    return tuple(sorted({i for p in places if p in positions for i in positions[p].notes}))


def _worst(places: Sequence[Place], positions: Positions) -> str:
    """Return where it buzzes most, in words, or nothing."""
    heard = [positions[p] for p in places if p in positions]
    choked = [p for p in heard if p.buzz == "choked"]
    if choked:
        at = choked[0]
        return f"; fret {at.fret} on string {at.string} chokes"
    with_level = [p for p in heard if p.buzz_db is not None]
    if not with_level:
        return ""
    at = max(with_level, key=lambda p: p.buzz_db or -200.0)
    return f"; most at fret {at.fret} on string {at.string} ({at.buzz_db:.0f} dB)".replace("-", "−")


def _accepted(places: Sequence[Place], positions: Positions) -> str:
    words = {positions[p].buzz for p in places if p in positions}
    if words and words <= {"slight", "clean"}:
        return " All of it is slight, under the bar set: commonly accepted on a low action."
    return ""


def _reach(places: Sequence[Place]) -> str:
    frets = [f for _, f in places]
    strings = sorted({s for s, _ in places})
    if not frets:
        return ""
    fretted = [f for f in frets if f > 0]
    parts = []
    if 0 in frets:
        parts.append("the open string")
    if fretted:
        parts.append(_frets_named(sorted(set(fretted))))
    return f"{' and '.join(parts)} on {strings_named(strings)}"


_BECAUSE: dict[FindingKind, str] = {
    "high fret": "only notes held behind {where} strike it, and {where} itself and those above "
    "it ring clear",
    "low fret": "only notes at {where} itself strike the next fret, and the notes behind it ring "
    "clear",
    "low nut slot": "only the open string strikes a fret, and its fretted notes ring clear",
    "neck too straight": "notes over the first frets strike a fret on most strings, and those "
    "further up ring clear",
    "rising fret end": "notes from about fret {first} up strike a fret on most strings, and those "
    "below ring clear",
}


def _rival(found: Found) -> str:
    """Return the sentence on the next likely cause and what tells the two apart, or nothing."""
    rival = found.rival
    if rival is None:
        return ""
    if rival.kind == "low fret":
        what = f"fret {rival.frets[0]} may be low instead"
    elif rival.kind == "high fret":
        what = f"fret {rival.frets[0]} may be high instead"
    else:
        what = f"{rival.kind} would sound much the same"
    tell = tell_apart({rival.kind: rival.frets, found.cause.kind: found.cause.frets})
    sure = "Less likely" if found.rival_confidence < found.confidence else "As likely"
    return f" {sure}, {what} ({100.0 * found.rival_confidence:.0f} %). {tell}".rstrip()


def _untold(found: Found) -> str:
    """Return the sentence on strings that do not tell, or nothing."""
    if not found.untold:
        return ""
    which = strings_named(found.untold)
    verb = "strikes" if len(found.untold) == 1 else "strike"
    return f" {which[0].upper()}{which[1:]} {verb} too little to tell."


def _lost(places: Sequence[Place], positions: Positions) -> str:
    """Return the clause on places that were picked and gave no note, or nothing."""
    lost = [p for p in places if p in positions and not positions[p].notes]
    return f"; {_reach(lost)} gave no note when picked" if lost else ""


def contact_finding(found: Found, positions: Positions, *, in_mm: bool, rank: str) -> Finding:
    """Return the finding for one cause of contact; `rank` compares heights without mm."""
    if found.cause.kind == "low action":
        return low_action_finding(
            found.strings,
            found.places,
            positions,
            confidence=found.confidence,
            rival=_rival(found),
        )
    kind, frets, places = found.cause.kind, found.cause.frets, list(found.places)
    where = f"fret {frets[0]}" if kind in ("high fret", "low fret") else _frets_named(frets)
    because = _BECAUSE[kind].format(where=where, first=frets[0])
    reach = _reach(places)
    summary = f"{how_sure(found.confidence)}: {because}"
    if reach:
        summary += f" ({reach}{_worst(places, positions)}{_lost(places, positions)})"
    summary += "." + _rival(found) + _untold(found) + _accepted(places, positions)
    size = (found.size_mm, found.low_mm, found.high_mm)
    if not in_mm and rank and kind in ("high fret", "low fret"):
        summary += f" {rank}"
    return Finding(
        kind=kind,
        strings=found.strings,
        frets=frets,
        confidence=found.confidence,
        height_mm=size[0] if in_mm else None,
        height_low_mm=size[1] if in_mm else None,
        height_high_mm=size[2] if in_mm else None,
        summary=summary,
        next_step=ADVICE[kind].text(f"{where} ({strings_named(found.strings)})"),
        notes=_ids(places, positions),
    )


def low_action_finding(
    strings: tuple[int, ...],
    places: Sequence[Place],
    positions: Positions,
    *,
    confidence: float,
    rival: str = "",
) -> Finding:
    """Return the finding for strings that strike in many places with no one fret behind it.

    Parameters
    ----------
    rival
        Sentence on the next likely cause.
    """
    frets = tuple(sorted({f for _, f in places}))
    return Finding(
        kind="low action",
        strings=strings,
        frets=frets,
        confidence=confidence,
        height_mm=None,
        height_low_mm=None,
        height_high_mm=None,
        summary=f"{how_sure(confidence)}: {strings_named(strings)} buzz in {len(places)} places "
        f"({_frets_named(frets)}{_worst(places, positions)}), not behind one fret: the action is "
        f"low for this touch.{rival}{_accepted(places, positions)}",
        next_step=ADVICE["low action"].text(_frets_named(frets)),
        notes=_ids(places, positions),
    )


def _places_named(places: Sequence[Place]) -> str:
    return ", ".join(f"string {s} fret {f}" for s, f in places)


def dead_spot_finding(spot: DeadSpot, positions: Positions) -> Finding:
    """Return the finding for one dead spot."""
    wide = "" if len(spot.frets) == 1 else f" ({_frets_named(spot.frets)} together)"
    follow = ""
    if spot.followers:
        follow = f" The same pitch falls fast as well at {_places_named(spot.followers)}."
    elif spot.silent:
        follow = f" The same pitch rings at {_places_named(spot.silent)}."
    summary = (
        f"{how_sure(spot.confidence)}: string {spot.string} at fret {spot.fret} falls "
        f"{spot.ratio:.1f} times as fast as this string usually does{wide}, at "
        f"{spot.pitch_hz:.0f} Hz, with no added highs: the neck takes the note, no fret "
        f"does.{follow}"
    )
    deepest = [p for p in spot.followers if p in spot.places]
    return Finding(
        kind="dead spot",
        strings=tuple(sorted({s for s, _ in spot.places})),
        frets=tuple(sorted({*spot.frets, *(f for _, f in deepest)})),
        confidence=spot.confidence,
        height_mm=None,
        height_low_mm=None,
        height_high_mm=None,
        summary=summary,
        next_step=ADVICE["dead spot"].text(),
        notes=_ids(spot.places, positions),
    )
