"""What became of the buzz of each position.

Conventions
-----------
"cured" is for what was heard as bad ("buzz" or "choked") and is clean now, "new" the other way
round; "better" and "worse" are steps between them.

Limits
------
A position that strikes in one pass and not in the other is near its threshold: that it is clean
another time may be chance, unless a cause that is gone explains it.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from statistics import median

from buzzscan.comparison.lost import NOT_FOUND
from buzzscan.comparison.places import (
    EITHER_WAY,
    contacts_of,
    judged_of,
    middle_contact,
    passes_strike,
)
from buzzscan.comparison.result import Change, ComparedPosition, Pick, Strength
from buzzscan.comparison.spread import Spread
from buzzscan.comparison.wording import signed_db
from buzzscan.neck.positions import Place
from buzzscan.neck.verdict import Buzz, Position, tells_contact
from buzzscan.scanning import Scan

__all__ = ["Judge"]


BADNESS: dict[Buzz, int] = {"clean": 0, "slight": 1, "buzz": 2, "choked": 3}
HEARD_AS_BAD = 2
SURE_CONTACT, SURE_CLEAN = 0.7, 0.25
"""Probability of contact from which, and to which, a place counts as told."""
CLEAR_STEP = SURE_CONTACT - SURE_CLEAN
"""Change of the probability of contact that is one: the least between the two above."""
OWN_PICK_DB = 6.0
"""A note this much softer than the others of its string counts as picked softly: three times a
player's spread from note to note, and more than a strike adds to an attack."""
PICK_SPREAD_DB = 3.0
"""How much two plucks of 10 % spread each may differ (2.5 standard deviations of the difference
of single ones). What strikes by less than this may be clean the next time."""
END_TOLD_S = 0.1
"""The end of contact is read late by up to this much, as far as its measure looks back."""
LASTING_S, LASTING_SHARE = 0.25, 0.8
"""Strikes take energy from the string as well, so what strikes for a quarter of a second, or for
nearly the whole of a short note, exceeded its clearance by more than its decay alone tells."""
RISE_DB_PER_DB = 1.6
"""Rise of the buzz with the pluck, both in dB: 14 dB for each factor of e. Steeper than the middle
of simulated strings (9 dB), so that a pick is rather thought to have done too much."""
FEWEST_CROSSED, CROSSED_SHARE = 3, 0.75
"""Places of one cause that all change sides in both passes are not chance: at even odds for
each pass, three of them are one in 16³ = 4096."""
LEVEL_ERROR_DB = 1.0
"""Median levels of a string are told this well from take to take."""

SOFTENED: dict[Change, Change] = {"new": "worse", "cured": "better"}
"""What a change is called of a place that buzzes in both takes, though hardly in one of them."""

PICK_WORDS: dict[Pick, str] = {
    "softer": "picked softer than before: less contact is no proof of a cure",
    "harder": "picked harder than before: more contact is no proof of a new fault",
    "unknown": "picked softer or harder than before, or recorded at another gain",
    "alike": "",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Judge:
    """Judges positions of two scans.

    Parameters
    ----------
    before, after
        The scans.
    strength
        How they were picked.
    spread
        Of their passes.
    gone, come
        Places of each cause that only the before take shows, and only the after take.
    """

    before: Scan
    after: Scan
    strength: Strength
    spread: Spread
    gone: Collection[frozenset[Place]]
    come: Collection[frozenset[Place]]

    def compared(self, then: Position, now: Position) -> ComparedPosition:
        """Return one position before and after."""
        levels = _level(then, self.before), _level(now, self.after)
        step = None if levels[0] is None or levels[1] is None else levels[1] - levels[0]
        change, reason = self._change(
            _over_passes(self.before, then), _over_passes(self.after, now), step
        )
        if tells_contact(then.buzz) and tells_contact(now.buzz) and change in SOFTENED:
            when = "before" if change == "new" else "after"
            change, reason = SOFTENED[change], f"{when}, hardly a pass struck a fret"
        elif change == "same" and not reason and then.buzz != now.buzz:
            when = "before" if tells_contact(then.buzz) else "after"
            reason = f"{when}, one pass may have struck a fret: too little to tell a change from"
        cents = None if then.cents is None or now.cents is None else now.cents - then.cents
        return ComparedPosition(
            string=then.string,
            fret=then.fret,
            buzz_before=then.buzz,
            buzz_after=now.buzz,
            buzz_change_db=step,
            sustain_change_ratio=_ratio(then.t60_s, now.t60_s),
            cents_change=cents,
            change=change,
            reason=reason,
        )

    def _change(self, then: Position, now: Position, step: float | None) -> tuple[Change, str]:
        if then.buzz is None or now.buzz is None:
            when, position = ("before", then) if then.buzz is None else ("after", now)
            reason = NOT_FOUND if not position.notes else position.reason or "not judged"
            return "not comparable", f"{when}: {reason}"
        change = _wanted(then.buzz, now.buzz, step)
        if change == "same":
            return change, ""
        doubt = self._doubt(then, now, step)
        if doubt:
            return "same", doubt if then.buzz != now.buzz else ""
        other = self._picked_otherwise(then, now, change) or self._chance(then, now)
        return ("not comparable", other) if other else (change, "")

    def _picked_otherwise(self, then: Position, now: Position, change: Change) -> str:
        """Return how the pick may have made the change; empty if it did not."""
        pick = self.strength.of(then.string)
        less = change in {"cured", "better"}
        if pick in ("unknown", "softer" if less else "harder"):
            return PICK_WORDS[pick]
        usual = next((s for s in self.strength.strings if s.string == then.string), None)
        if usual is None or "choked" in {then.buzz, now.buzz}:
            return ""
        how = "softer" if less else "harder"
        levels = _attack(self.before, then), _attack(self.after, now)
        if levels[0] is not None and levels[1] is not None:
            own = levels[1] - levels[0] - usual.level_change_db
            if (-own if less else own) >= OWN_PICK_DB:
                return f"picked {abs(own):.0f} dB {how} than the other notes of the string"
        if usual.pick_change_db is None or "clean" not in {then.buzz, now.buzz}:
            return ""
        side = (self.before, then) if less else (self.after, now)
        excess = _excess_db(*side)
        short_of = -usual.pick_change_db if less else usual.pick_change_db
        if excess is None or short_of <= max(excess, LEVEL_ERROR_DB):
            return ""
        does = "end" if less else "make"
        return (
            f"picked {short_of:.1f} dB {how} than before, which alone may {does} so brief a contact"
        )

    def _doubt(self, then: Position, now: Position, step: float | None) -> str:
        """Return why a difference is within the spread of the passes; empty if it is not."""
        crossed = "clean" in {then.buzz, now.buzz}
        contact = abs((now.contact or 0.0) - (then.contact or 0.0))
        if crossed and contact < CLEAR_STEP and "choked" not in {then.buzz, now.buzz}:
            return (
                f"contact {100 * (then.contact or 0.0):.0f} % before and "
                f"{100 * (now.contact or 0.0):.0f} % after lie too near to each other to tell"
            )
        if step is None or crossed:
            return ""
        if not (passes_strike(self.before, then) and passes_strike(self.after, now)):
            return "one of the passes struck no fret: a level between the two says little"
        least = self.spread.least_change_db(
            len(judged_of(self.before, then)), len(judged_of(self.after, now))
        ) + self._by_pick_db(then.string, step)
        if abs(step) >= least:
            return ""
        return f"changed by {signed_db(step)}, within the spread of the passes ({least:.1f} dB)"

    def _by_pick_db(self, string: int, step: float) -> float:
        """Return how much of a step the pick may have made, where it counts as alike."""
        usual = next((s for s in self.strength.strings if s.string == string), None)
        if usual is None or usual.pick_change_db is None or usual.pick_change_db * step <= 0.0:
            return 0.0
        return RISE_DB_PER_DB * abs(usual.pick_change_db)

    def _chance(self, then: Position, now: Position) -> str:
        """Return why the next pluck may tell otherwise; empty where it would not."""
        if "clean" not in {then.buzz, now.buzz} or "choked" in {then.buzz, now.buzz}:
            return ""
        ended = now.buzz == "clean"
        when, scan, struck = ("before", self.before, then) if ended else ("after", self.after, now)
        if self._explained((then.string, then.fret), ended=ended):
            return ""
        doubt = _near_threshold(scan, struck)
        if doubt:
            return f"{when}, it struck a fret {doubt}: the next pluck may tell otherwise"
        free = (self.after, now) if ended else (self.before, then)
        # A cure needs every pass to be clean; a new fault that lasts was none for most before, and
        # no pass of it struck beyond doubt.
        if _surely_clean(*free) or (not ended and _hardly_strikes(*free)):
            return ""
        other = "after" if ended else "before"
        return f"{other}, one pass struck a fret or nearly: the next pluck may tell otherwise"

    def _explained(self, place: Place, *, ended: bool) -> bool:
        """Return whether a cause explains the place and is itself beyond chance."""
        scan, other = (self.before, self.after) if ended else (self.after, self.before)
        return any(
            place in places and _beyond_chance(scan, other, places)
            for places in (self.gone if ended else self.come)
        )


def _beyond_chance(scan: Scan, other: Scan, places: Collection[Place]) -> bool:
    """Return whether a cause strikes in one scan and not in the other, whatever the plucks.

    One place that no pluck explains will do, or several that all changed sides.
    """
    was = {(p.string, p.fret): p for p in scan.positions}
    now = {(p.string, p.fret): p for p in other.positions}
    pairs = [(was[p], now[p]) for p in places if p in was and p in now]
    sure = [pair for pair in pairs if _surely_strikes(scan, pair[0])]
    crossed = [pair for pair in sure if pair[1].buzz == "clean" and _surely_clean(other, pair[1])]
    if any(not _near_threshold(scan, struck) for struck, _ in crossed):
        return True
    return len(crossed) >= FEWEST_CROSSED and len(crossed) >= CROSSED_SHARE * len(sure)


def _surely_strikes(scan: Scan, position: Position) -> bool:
    """Return whether a place strikes beyond doubt, in all its passes."""
    if position.buzz == "choked" or position.contact is None:
        return tells_contact(position.buzz)
    return middle_contact(scan, position) >= SURE_CONTACT and passes_strike(scan, position)


def _surely_clean(scan: Scan, position: Position) -> bool:
    """Return whether a place strikes in none of its passes."""
    passes = contacts_of(scan, position)
    return all(c < EITHER_WAY for c in passes) and middle_contact(scan, position) <= SURE_CLEAN


def _hardly_strikes(scan: Scan, position: Position) -> bool:
    """Return whether a place strikes in hardly any of its passes, and in none beyond doubt."""
    passes = contacts_of(scan, position)
    return all(c < SURE_CONTACT for c in passes) and middle_contact(scan, position) <= SURE_CLEAN


def _over_passes(scan: Scan, position: Position) -> Position:
    """Return a position, as all its passes tell it where hardly any strikes.

    A verdict is by the pass that strikes most surely; a change must not hang on a doubtful one.
    """
    if position.contact is None or position.buzz in {None, "choked"}:
        return position
    if not _hardly_strikes(scan, position):
        return position
    return replace(position, contact=middle_contact(scan, position), buzz="clean")


def _near_threshold(scan: Scan, position: Position) -> str:
    """Return how a contact shows that it is near its threshold; empty if it is not."""
    if position.buzz == "choked":
        return ""
    if not passes_strike(scan, position):
        return "in some of the passes only"
    if not _surely_strikes(scan, position):
        return f"with a probability of {100 * middle_contact(scan, position):.0f} %"
    excess = _excess_db(scan, position)
    return "" if excess is None or excess >= PICK_SPREAD_DB else "briefly"


def _excess_db(scan: Scan, position: Position) -> float | None:
    """Return how far a pluck exceeded what the clearance allows at least, None if not told.

    A string strikes until it has fallen to its clearance: A0/Ac = exp(σ·t), so that the excess
    in dB is the string's own rate of fall times the time that contact lasts.
    """
    notes = [n for n in judged_of(scan, position) if n.contact_until_s is not None]
    rates = [
        p.decay_db_per_s / (p.decay_ratio or 1.0)
        for p in scan.positions
        if p.string == position.string and p.decay_db_per_s is not None
    ]
    if not notes or not rates:
        return None
    lasted = median(n.contact_until_s or 0.0 for n in notes)
    long = min(LASTING_S, LASTING_SHARE * median(n.note.end_s - n.note.onset_s for n in notes))
    by_decay = max(lasted - END_TOLD_S, 0.0) * median(rates)
    return max(by_decay, PICK_SPREAD_DB) if lasted >= long else by_decay


def _wanted(then: Buzz, now: Buzz, step: float | None) -> Change:
    """Return the change that words and level ask for, before it is doubted."""
    one, other = BADNESS[then], BADNESS[now]
    if one == other and then in {"clean", "choked"}:
        return "same"  # what is left of a choked note has no level to go by
    if other == 0:
        return "cured" if one >= HEARD_AS_BAD else "better"
    if one == 0:
        return "new" if other >= HEARD_AS_BAD else "worse"
    # Both strike: the words part at a bar, the level tells which way it moved.
    if step is None:
        return "same" if one == other else "better" if other < one else "worse"
    return "better" if step < 0.0 else "worse" if step > 0.0 else "same"


def _level(position: Position, scan: Scan) -> float | None:
    return position.buzz_amp_db if scan.bars.heard == "amp" else position.buzz_db


def _ratio(then: float | None, now: float | None) -> float | None:
    return None if not then or not now else now / then


def _attack(scan: Scan, position: Position) -> float | None:
    levels = [n.attack_dbfs for n in judged_of(scan, position)]
    return median(levels) if levels else None
