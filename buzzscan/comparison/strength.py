"""How hard the after take was picked: level, noise floor and slight buzz that nobody touched.

Conventions
-----------
A change of level is a change of gain plus a change of the pick. Noise that is heard before the
first note moves with the gain and not with the pick; the glide of the attacks moves with the pick
and not with the gain.

Limits
------
Where neither noise nor slight buzz tells the two apart, the answer is "unknown". A take that was
picked more softly and made just as loud afterwards, over noise that did not move, is known only
by the glide of its attacks, and that needs some twenty clean places.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from statistics import median

from buzzscan.comparison.causes import causes_of_one
from buzzscan.comparison.floor import Bands, lead_in_dbfs
from buzzscan.comparison.places import middle_contact, middles
from buzzscan.comparison.result import Pick, Strength, StringStrength
from buzzscan.comparison.swing import Swing, swing_of
from buzzscan.comparison.wording import signed_db
from buzzscan.errors import ComparisonError
from buzzscan.neck.positions import Place
from buzzscan.neck.verdict import Finding, Position
from buzzscan.scanning import Scan

__all__ = ["noise_change_db", "strength_of", "told_apart"]

Told = tuple[float | None, float | None, Pick]
"""Change of gain, change of the pick, and the word for the pick."""

PICK_TOLERANCE_DB = 3.0
"""Up to this two strings count as picked alike: a player's own spread from take to take is 1 to
2 dB (common practice, no source). A drop of 3 dB shortens contact, it does not end it."""
SAME_DB = 1.5
"""Noise this near to before is the same noise; what is left is its own wandering."""
BANDS_AGREE_DB = 2.0
"""A change of gain moves all frequencies alike; another room or lamp does not."""
FEWEST_CLEAN = 4
FEWEST_SLIGHT, KEPT_SHARE, LOST_SHARE = 5, 0.75, 0.25
"""Slight buzz is near its threshold: half the pick strength silences nearly all of it, the same
strength keeps most. The shares are a quarter from either end, on at least this many places."""
SURE_CONTACT, STILL_CONTACT = 0.8, 0.35
"""Contact over all passes of what strikes beyond doubt, and of what strikes still."""
RIDDEN = (
    "the gain of a recording was changed while it ran (automatic gain or a compressor), so how "
    "hard it was picked cannot be told"
)
STEADY_KINDS = frozenset(("high fret", "low fret", "low nut slot"))
"""Causes whose cure leaves the rest of the neck as it was."""


def strength_of(before: Scan, after: Scan) -> Strength:
    """Return how hard the after take was picked, over all and for each string.

    Raises
    ------
    ComparisonError
        If no position was judged in both scans.
    """
    steps = _level_steps(before, after)
    level = median(steps.values())
    ridden = _is_ridden(before) or _is_ridden(after)
    lead_ins = (lead_in_dbfs(before), lead_in_dbfs(after))
    floor = None if ridden else _Noise((before, after), lead_ins)
    noise = None if floor is None else floor.change_db(None, level=level)
    kept = _slight_buzz_kept(before, after)
    # Slight buzz that is still there is nearer to what matters than a mean over the neck.
    swing = None if kept else swing_of(before, after)
    told = _told(level, noise, kept=kept, steady=floor is not None)
    gain, pick, word = _doubted(told, swing, level)
    strings = tuple(
        _string_strength(string, steps, floor, kept=kept, swing=swing)
        for string in before.guitar.strings
        if any(place[0] == string for place in steps)
    )
    alike = word == "alike" and all(s.pick == "alike" for s in strings)
    if swing is not None and word != told[2]:  # the swing of the strings has put it right
        sentence = _swing_sentence(level, swing, word)
    elif ridden and word == "unknown":
        sentence = RIDDEN
    else:
        sentence = _sentence(level, gain, word, noise, kept=kept)
    return Strength(
        level_change_db=level,
        gain_change_db=gain,
        pick_change_db=pick,
        pick=word,
        strings=strings,
        alike=alike,
        sentence=sentence,
    )


def _string_strength(
    string: int,
    steps: dict[Place, float],
    floor: _Noise | None,
    *,
    kept: bool | None,
    swing: Swing | None,
) -> StringStrength:
    level = median(step for place, step in steps.items() if place[0] == string)
    noise = floor.change_db(string, level=level) if floor else None
    told = _told(level, noise, kept=kept, steady=floor is not None)
    gain, pick, word = _doubted(told, swing, level)
    return StringStrength(
        string=string, level_change_db=level, gain_change_db=gain, pick_change_db=pick, pick=word
    )


def _doubted(told: Told, swing: Swing | None, level: float) -> Told:
    """Return gain, pick and word as the glide of the attacks leaves them.

    It stands against "alike"; where it says the opposite of the level, neither is believed.
    """
    if swing is None or swing.pick is None or told[2] in {swing.pick, "unknown"}:
        return told
    if told[2] != "alike":
        return None, None, "unknown"
    return level - swing.change_db, swing.change_db, swing.pick


def _swing_sentence(level: float, swing: Swing, pick: Pick) -> str:
    how = f"picked {pick}" if pick != "unknown" else "picked softer or harder"
    return (
        f"the notes of the after take are {signed_db(level)} in level, but their attacks glide as "
        f"with a swing changed by {signed_db(swing.change_db, 0)}: {how}, at another gain or "
        "made as loud afterwards"
    )


def _is_ridden(scan: Scan) -> bool:
    """Return whether the gain of a recording was changed while it ran."""
    return any(w.code == "gain-riding" for r in scan.recordings for w in r.warnings)


def _told(level: float, noise: float | None, *, kept: bool | None, steady: bool) -> Told:
    """Return gain, pick and word; what slight buzz says is set over what noise says."""
    gain, pick, word = told_apart(level, noise) if steady else (None, None, "unknown")
    if kept is True and word in {"softer", "unknown"}:
        return level, 0.0, "alike"
    if kept is False and word == "alike":
        return None, None, "unknown"
    return gain, pick, word


def told_apart(level_db: float, noise_db: float | None) -> Told:
    """Return the change of gain, the change of the pick, and the word for the pick.

    Parameters
    ----------
    level_db
        Change of the notes' level.
    noise_db
        Change of the noise floor, None where it does not tell.
    """
    if noise_db is None:
        if abs(level_db) <= PICK_TOLERANCE_DB:
            return 0.0, level_db, "alike"
        return None, None, "unknown"
    gain = 0.0 if abs(noise_db) <= SAME_DB else noise_db
    pick = level_db - gain
    if abs(pick) <= PICK_TOLERANCE_DB:
        return gain, pick, "alike"
    if pick > 0.0:
        return gain, pick, "harder"
    # Louder noise under notes as loud as before: more gain on a softer pick, or a louder room.
    return (gain, pick, "softer") if gain == 0.0 or level_db < 0.0 else (None, None, "unknown")


def noise_change_db(before: Bands, after: Bands) -> float | None:
    """Return how far the noise floor moved, or None where its bands do not tell.

    Parameters
    ----------
    before, after
        Level in a low and a high band, None where it was not heard.
    """
    low, high = (
        None if one is None or other is None else other - one
        for one, other in zip(before, after, strict=True)
    )
    if low is None or high is None:
        return None
    if abs(low - high) <= BANDS_AGREE_DB:
        return 0.5 * (low + high)
    # One band moved alone, as by hum or a fan: the gain is what it was.
    return 0.0 if min(abs(low), abs(high)) <= SAME_DB else None


@dataclass(frozen=True, slots=True)
class _Noise:
    """Noise of both takes, to be asked for the recordings of one string or of all."""

    scans: tuple[Scan, Scan]
    lead_ins: tuple[dict[int, Bands], dict[int, Bands]]

    def change_db(self, string: int | None, *, level: float) -> float | None:
        """Return the change of the noise floor under the notes, None where it does not tell."""
        found: list[Bands] = []
        coarse: list[float] = []
        for scan, lead_ins in zip(self.scans, self.lead_ins, strict=True):
            used = {n.note.recording for n in scan.notes if string in {None, n.note.string}}
            used = used or set(lead_ins)
            if any(w.code == "gated" for i in used for w in scan.recordings[i].warnings):
                return None
            found.append((_middle(lead_ins, used, 0), _middle(lead_ins, used, 1)))
            coarse.append(median(scan.recordings[i].noise_dbfs for i in used))
        change = noise_change_db(found[0], found[1])
        if change is not None or any(heard is not None for bands in found for heard in bands):
            return change
        # Without a lead-in only the level between the notes is left. It may be made of their
        # tails, which follow the pick as they follow the gain: it tells where it does not follow.
        between = coarse[1] - coarse[0]
        if abs(between) <= SAME_DB:
            return 0.0
        return between if abs(level) <= PICK_TOLERANCE_DB < abs(between) else None


def _middle(lead_ins: Mapping[int, Bands], used: Collection[int], band: int) -> float | None:
    levels = [heard for i in used if (heard := lead_ins[i][band]) is not None]
    return median(levels) if levels else None


def _level_steps(before: Scan, after: Scan) -> dict[Place, float]:
    """Return the change of attack level of each place; of clean places where there are enough."""
    one, other = (middles(scan, lambda n: n.attack_dbfs) for scan in (before, after))
    steps = {place: other[place] - one[place] for place in sorted(one.keys() & other.keys())}
    if not steps:
        raise ComparisonError(
            "no position was judged in both scans; play the same strings and frets in both"
        )
    clean = [
        {(p.string, p.fret) for p in scan.positions if p.buzz == "clean"}
        for scan in (before, after)
    ]
    quiet = {place: step for place, step in steps.items() if place in clean[0] & clean[1]}
    by_string: dict[int, dict[Place, float]] = defaultdict(dict)
    for place, step in steps.items():
        by_string[place[0]][place] = step
    chosen: dict[Place, float] = {}
    for string, all_of_it in by_string.items():
        # A strike changes the level of an attack; where enough places are free of it, they count.
        free = {place: step for place, step in quiet.items() if place[0] == string}
        chosen |= free if len(free) >= FEWEST_CLEAN else all_of_it
    return chosen


def _slight_buzz_kept(before: Scan, after: Scan) -> bool | None:
    """Return whether slight buzz that no cure explains is still there; None if it does not tell."""
    gone = causes_of_one(before, after)
    explained = {
        (n.note.string, n.note.fret)
        for n in before.notes
        for f in gone
        if n.note.id in f.notes or _is_below(f, n.note.string, n.note.fret)
    }
    now = {(p.string, p.fret): p for p in after.positions if p.buzz is not None}
    slight = [
        place
        for p in before.positions
        if p.buzz == "slight"
        and middle_contact(before, p) >= SURE_CONTACT
        and (place := (p.string, p.fret)) not in explained
        and place in now
    ]
    if len(slight) < FEWEST_SLIGHT:
        return None
    share = sum(_strikes_still(after, now[place]) for place in slight) / len(slight)
    if share >= KEPT_SHARE:
        return True
    steady = bool(gone) and all(f.kind in STEADY_KINDS for f in gone)
    return False if share <= LOST_SHARE and steady else None


def _strikes_still(after: Scan, position: Position) -> bool:
    return position.buzz == "choked" or middle_contact(after, position) >= STILL_CONTACT


def _is_below(finding: Finding, string: int, fret: int) -> bool:
    """Return whether a fault at a fret takes clearance from this place."""
    return finding.kind == "high fret" and string in finding.strings and fret < max(finding.frets)


def _sentence(
    level: float, gain: float | None, pick: Pick, noise: float | None, *, kept: bool | None
) -> str:
    notes = f"the notes of the after take are {signed_db(level)} in level"
    floor = "the same noise floor" if not gain else f"a noise floor that moved {signed_db(gain)}"
    if pick == "alike":
        if kept is True and noise != gain:
            return f"{notes}, and slight buzz elsewhere is as it was: picked alike"
        if abs(level) <= PICK_TOLERANCE_DB:
            return (
                f"both takes are equally loud ({signed_db(level)}): they seem to be picked equally "
                "hard"
            )
        return (
            f"{notes} and the noise moved with them: another recording gain, and they seem to be "
            "picked equally hard"
        )
    if pick != "unknown":
        why = f"over {floor}: picked {pick}"
    elif kept is False:
        why = "but slight buzz elsewhere is gone too: picked softer, or not one cause was changed"
    elif noise is not None:
        why = f"over {signed_db(noise)} of noise: picked softer at more gain, or a noisier room"
    else:
        why = f"picked {'softer' if level < 0 else 'harder'}, or another recording gain"
    return f"{notes}, {why}"
