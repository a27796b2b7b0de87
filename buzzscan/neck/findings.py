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

from buzzscan.guitar import Guitar
from buzzscan.neck.advice import ADVICE, fret_check, how_sure, suspect_of, tell_apart
from buzzscan.neck.clearance import SOUND_RELIEF_MM, setup_of
from buzzscan.neck.culprit import Found
from buzzscan.neck.deadspots import DeadSpot
from buzzscan.neck.grounds import FAINTLY, FAINTLY_ONE, any_marked, grounds, place_named, reach
from buzzscan.neck.positions import Place
from buzzscan.neck.verdict import Finding, FindingKind, Position, tells_contact
from buzzscan.spans import frets_named, strings_named

__all__ = [
    "contact_finding",
    "dead_spot_finding",
    "low_action_finding",
    "relief_remarks",
    "straight_finding",
]

Positions = Mapping[Place, Position]


def _ids(places: Iterable[Place], positions: Positions) -> tuple[int, ...]:
    return tuple(sorted({i for p in places if p in positions for i in positions[p].notes}))


def _worst(places: Sequence[Place], positions: Positions) -> str:
    """Return where it buzzes most, in words, or nothing where nothing is marked."""
    heard = [positions[p] for p in places if p in positions and tells_contact(positions[p].buzz)]
    choked = [p for p in heard if p.buzz == "choked"]
    if choked:
        at = choked[0]
        if len(places) == 1:
            return "; it chokes"
        return f"; {place_named(at.string, at.fret)} chokes"
    with_level = [p for p in heard if p.buzz_db is not None]
    if not with_level:
        return ""
    at = max(with_level, key=lambda p: p.buzz_db or -200.0)
    level = f"{at.buzz_db:.0f} dB".replace("-", "−")
    if len(places) == 1:
        return f", {level}"
    return f"; most on {place_named(at.string, at.fret)} ({level})"


def _accepted(places: Sequence[Place], positions: Positions) -> str:
    words = {positions[p].buzz for p in places if p in positions}
    if "slight" in words and words <= {"slight", "clean"}:
        return " All of it is slight, under the bar set: commonly accepted on a low action."
    return ""


_CAUSE: dict[FindingKind, str] = {
    "high fret": "{where} is high",
    "low fret": "{where} is low",
    "low nut slot": "the nut slot is low",
    "neck too straight": "the neck is too straight",
    "rising fret end": "the end of the fretboard rises",
    "low action": "the action is low for this touch",
}
_AS_LIKELY = 1.5
"""Odds up to which two causes are about as likely: the model is no finer than that."""
_UNSURE = 0.5
_ELSE = (
    "something else: a loose part, the finger, a chip under the string, or a false alarm. Play "
    "those notes again first"
)


def _cause(kind: FindingKind, frets: Sequence[int]) -> str:
    return _CAUSE[kind].format(where=f"fret {frets[0]}" if frets else "")


def _rival(found: Found) -> str:
    """Return the sentence on the next likely cause and what tells the two apart, or nothing."""
    rival, cause = found.rival, found.cause
    if rival is None:
        return ""
    odds = found.rival_confidence / found.confidence
    sure = "About as likely"
    if odds > _AS_LIKELY:
        sure = "More likely"
    elif odds < 1.0 / _AS_LIKELY:
        sure = "Less likely"
    tell = tell_apart(cause.kind, cause.frets, rival.kind, rival.frets, last=cause.shape.size - 2)
    what = _cause(rival.kind, rival.frets)
    return f" {sure} ({100.0 * found.rival_confidence:.0f} %): {what}. {tell}".rstrip()


def _rest(found: Found) -> str:
    """Return what else it may be, where more speaks for that than for any cause named."""
    rival_confidence = found.rival_confidence if found.rival is not None else 0.0
    rest = 1.0 - found.confidence - rival_confidence
    if found.confidence >= _UNSURE or rest <= max(found.confidence, rival_confidence):
        return ""
    return f" The other {100.0 * rest:.0f} % may be {_ELSE}."


def _untold(found: Found, positions: Positions) -> str:
    """Return the sentences on strings that do not tell, or were not played, or nothing.

    One that is marked where the others strike is named with why that alone tells little.
    """
    played = {s for (s, _), position in positions.items() if position.picked}
    silent = [s for s in found.untold if s not in played]
    untold = [s for s in found.untold if s in played]
    verb = "was" if len(silent) == 1 else "were"
    unplayed = f" {_starting(strings_named(silent))} {verb} not played." if silent else ""
    if not untold:
        return unplayed
    verb = "does" if len(untold) == 1 else "do"
    frets = {fret for string, fret in found.places if string in found.strings}
    places = [(s, f) for s in untold for f in sorted(frets) if (s, f) in positions]
    why = "; ".join(
        f"{place_named(*p)}: {positions[p].reason or 'marked, which alone shows little'}"
        for p in places
        if tells_contact(positions[p].buzz)
    )
    which = _starting(strings_named(untold))
    return f" {which} {verb} not tell either way{f' ({why})' if why else ''}.{unplayed}"


def _starting(words: str) -> str:
    """Return words as a sentence begins."""
    return words[0].upper() + words[1:]


def _lost(places: Sequence[Place], positions: Positions) -> str:
    """Return the clause on places that were picked and gave no note, or nothing."""
    lost = [p for p in places if p in positions and not positions[p].notes]
    return f"; {reach(lost)} gave no note when picked" if lost else ""


def _on(strings: Sequence[int], places: Sequence[Place]) -> list[Place]:
    """Return places on the strings of a cause; strings that do not tell are no evidence."""
    return [p for p in places if p[0] in strings] or list(places)


def _relief(relief_mm: float | None, *, first: bool) -> str:
    """Return the sentence on a relief that was measured to be too little, if one was."""
    if relief_mm is None:
        return ""
    short = f"{relief_mm:.2f} mm of relief was measured, under {SOUND_RELIEF_MM:.2f} mm"
    then = ": set it first, then play again" if first else ""
    return f" {short}{then}.".replace("-", "−")


def relief_remarks(guitar: Guitar) -> tuple[str, ...]:
    """Return what to say of a relief that was measured to be too little, whatever is heard."""
    if guitar.relief_mm is None or not setup_of(guitar).too_straight:
        return ()
    short = f"{guitar.relief_mm:.2f} mm of relief, under {SOUND_RELIEF_MM:.2f} mm"
    return (f"the guitar file gives {short}: set it first, then play again".replace("-", "−"),)


def contact_finding(
    found: Found,
    positions: Positions,
    *,
    in_mm: bool,
    rank: str,
    too_little_mm: float | None = None,
    enough_mm: float | None = None,
) -> Finding:
    """Return the finding for one cause of contact.

    Parameters
    ----------
    rank
        Compares heights without mm.
    too_little_mm
        Relief as it was measured, where that is too little: then low action is not told before
        it is set.
    enough_mm
        The same, where it is enough: what is heard then speaks against what was measured.
    """
    if found.cause.kind == "low action":
        where, sure = (found.strings, found.places, positions), found.confidence
        if too_little_mm is not None:
            return straight_finding(*where, confidence=sure, too_little_mm=too_little_mm)
        rival = _rival(found) + _untold(found, positions)
        return low_action_finding(*where, confidence=sure, rival=rival)
    kind, frets = found.cause.kind, found.cause.frets
    places = _on(found.strings, found.places)
    facts = grounds(kind, frets, found.strings, places, positions)
    evidence = f"{reach(places)}{_worst(places, positions)}{_lost(places, positions)}"
    summary = f"{how_sure(found.confidence)}: {_cause(kind, frets)}. {facts.heard} ({evidence})"
    summary += "".join(f"; {clause}" for clause in facts.clear) + "." + _rival(found)
    summary += _relief(too_little_mm, first=kind != "neck too straight")
    if kind == "neck too straight" and enough_mm is not None:
        summary += f" {enough_mm:.2f} mm of relief was measured, which speaks against it: "
        summary += "measure it again."
    summary += _brushed(found) + _rest(found) + _untold(found, positions)
    summary += _accepted(places, positions)
    if not in_mm and rank and kind in ("high fret", "low fret"):
        summary += f" {rank}"
    return Finding(
        kind=kind,
        strings=found.strings,
        frets=frets,
        confidence=found.confidence,
        height_mm=found.size_mm if in_mm else None,
        height_low_mm=found.low_mm if in_mm else None,
        height_high_mm=found.high_mm if in_mm else None,
        summary=summary,
        next_step=_next_step(found),
        notes=_ids(found.places, positions),
    )


def _brushed(found: Found) -> str:
    """Return a sentence on the notes that touch a fret in their attack only."""
    n = len(found.touched)
    if n == 0:
        return ""
    more = "One more touches" if n == 1 else f"{n} more touch"
    return f" {more} a fret only while picked ({reach(found.touched)})."


def _next_step(found: Found) -> str:
    """Return the check, the caution and the work for a cause of contact."""
    kind, frets = found.cause.kind, found.cause.frets
    suspect = suspect_of(kind, frets)
    if suspect is None:
        return ADVICE[kind].text()
    tell = fret_check(suspect, last=found.cause.shape.size - 2, where=strings_named(found.strings))
    return f"{tell} {ADVICE[kind].text(f'fret {suspect.fret}')}".lstrip()


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
        Sentences on the next likely cause and on strings that do not tell.
    """
    touch = " A hard touch sounds the same." if confidence < _UNSURE else ""
    return _widespread("low action", strings, places, positions, confidence, more=touch + rival)


def straight_finding(
    strings: tuple[int, ...],
    places: Sequence[Place],
    positions: Positions,
    *,
    confidence: float,
    too_little_mm: float,
) -> Finding:
    """Return the finding for strings that strike in many places of a neck measured too straight."""
    more = _relief(too_little_mm, first=True)
    more += " If it buzzes as much then, it is the action, or the touch."
    return _widespread("neck too straight", strings, places, positions, confidence, more=more)


def _widespread(
    kind: FindingKind,
    strings: tuple[int, ...],
    places: Sequence[Place],
    positions: Positions,
    confidence: float,
    *,
    more: str,
) -> Finding:
    named = _on(strings, places)
    strings = tuple(sorted({s for s, _ in named}))
    frets = tuple(sorted({f for _, f in named}))
    which = strings_named(strings)
    one = len(strings) == 1
    does = "buzzes" if one else "buzz"
    if not any_marked(named, positions):
        does = f"{FAINTLY_ONE if one else FAINTLY},"
    buzz = f"{_starting(which)} {does}"
    return Finding(
        kind=kind,
        strings=strings,
        frets=frets,
        confidence=confidence,
        height_mm=None,
        height_low_mm=None,
        height_high_mm=None,
        summary=f"{how_sure(confidence)}: {_cause(kind, ())}. {buzz} in {len(named)} "
        f"{'place' if len(named) == 1 else 'places'} "
        f"({reach(named, counted=True)}{_worst(named, positions)}),"
        f" not behind one fret.{more}{_accepted(named, positions)}",
        next_step=ADVICE[kind].text(),
        notes=_ids(places, positions),
    )


def _places_named(places: Sequence[Place]) -> str:
    return ", ".join(place_named(s, f) for s, f in places)


def dead_spot_finding(spot: DeadSpot, positions: Positions) -> Finding:
    """Return the finding for one dead spot."""
    wide = "" if len(spot.frets) == 1 else f" ({frets_named(spot.frets)} together)"
    follow = ""
    if spot.followers:
        follow = f" The same pitch falls fast as well on {_places_named(spot.followers)}."
    elif spot.silent:
        follow = f" The same pitch rings on {_places_named(spot.silent)}."
    named = place_named(spot.string, spot.fret)
    summary = (
        f"{how_sure(spot.confidence)}: the neck takes the note. "
        f"{_starting(named)} falls "
        f"{spot.ratio:.1f} times as fast as this string usually does{wide}, at "
        f"{spot.pitch_hz:.0f} Hz, with no added highs.{follow}"
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
