"""Verdict for every position from all its notes.

Conventions
-----------
Only judged notes count, but that what stops in every pass before it can be measured is choked. A
value is the middle of its passes, and the spread is half their range. Contact is the exception: a
note that buzzes every other time it is picked buzzes, so the verdict is by the pass that strikes
most surely, and its level is that of the passes that strike. A fast fall is the other one: what
the neck takes it takes every time, so that the word for it is by the pass that falls more slowly,
and in a room, where one pass may fall into a hole, by two. Words come from `Bars` and from nowhere
else.

Limits
------
Where the passes contradict each other `Position.reason` says so. A note that chokes and is too
short to be measured has no decay rate.
"""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.measures.buzz import NEXT_FRET_CENTS
from buzzscan.measures.contact import log_odds, logistic
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.stopping import CHOKES_WITHIN_S, stopped_early
from buzzscan.neck.trend import Trend, trend_of
from buzzscan.neck.verdict import Bars, Buzz, PitchWord, Position, Sustain
from buzzscan.units import rate_to_t60

__all__ = [
    "TOLD_CONTACT",
    "by_position",
    "combined_contact",
    "contact_odds",
    "contact_on_the_whole",
    "decay_trends",
    "judge_positions",
    "judged_notes",
    "sustain_word",
]

Place = tuple[int, int]

TOLD_CONTACT = 0.5
"""Contact from here on is given a word: it is likelier than none."""
_LEAST_CONTACT = 1e-3
"""Nothing heard says more than this for or against contact."""
_DISAGREE, _FREE = 0.6, 0.25
"""Passes whose contact differs by this much contradict each other, and one that strikes and one
below this."""
_CHOKED_OFF_GRID_CENTS = 35.0
_CHOKED_DB_PER_S = 90.0
_CHOKED_RATIO = 3.0
"""A choke falls 15–20 dB within 0.2 s, and several times faster than the string does."""
_FALLS_APART = 1.3
"""Passes whose falls differ by less than is heard (Tolonen & Järveläinen, 2000) do not contradict
each other, though the bar may lie between them."""
_ONCE = "falls fast in the one pass that tells; in a room that takes two"
_SPREAD_FLOOR_LOG = 0.08
"""Real notes of one neck scatter by about 8 % in decay at the very least."""


def by_position(notes: Sequence[MeasuredNote]) -> dict[Place, list[MeasuredNote]]:
    """Return the notes of each (string, fret), judged or not."""
    found: dict[Place, list[MeasuredNote]] = defaultdict(list)
    for note in notes:
        found[note.note.string, note.note.fret].append(note)
    return found


def judged_notes(notes: Iterable[MeasuredNote]) -> list[MeasuredNote]:
    """Return the notes that count for their position."""
    return [n for n in notes if n.judged]


def _values(
    notes: Iterable[MeasuredNote], measure: Callable[[MeasuredNote], float | None]
) -> list[float]:
    return [v for v in map(measure, notes) if v is not None and math.isfinite(v)]


def _middle(values: Sequence[float]) -> float | None:
    return float(statistics.median(values)) if values else None


def _half_spread(values: Sequence[float]) -> float | None:
    return 0.5 * (max(values) - min(values)) if len(values) > 1 else None


def combined_contact(values: Sequence[float]) -> float | None:
    """Return the probability of contact from that of each pass: that of the surest.

    Passes of one place err alike, so that faint ones do not add up to a sure one.
    """
    return max(values, default=None)


def contact_on_the_whole(values: Sequence[float]) -> float | None:
    """Return the probability of contact over all passes: the mean of their log odds."""
    return float(logistic(contact_odds(values).mean())) if values else None


def contact_odds(contact: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return the log odds of probabilities of contact, none of which is taken for certain."""
    return log_odds(np.clip(contact, _LEAST_CONTACT, 1.0 - _LEAST_CONTACT))


def decay_trends(
    guitar: Guitar,
    places: Mapping[Place, Sequence[MeasuredNote]],
    *,
    measure: Callable[[MeasuredNote], float | None] = lambda note: note.decay_db_per_s,
) -> dict[int, Trend]:
    """Return each string's trend of the natural log of a decay rate over the frets.

    Notes in contact are left out as long as enough others remain.

    Parameters
    ----------
    measure
        The rate in dB/s; that of the first partial by default.
    """
    trends = {}
    for string in guitar.strings:
        points = []
        for fret in range(guitar.capo, guitar.frets + 1):
            counted = judged_notes(places.get((string, fret), ()))
            rate = _middle(_values(counted, measure))
            contact = combined_contact(_values(counted, lambda n: n.contact)) or 0.0
            if rate is not None and rate > 0.0:
                points.append((fret, math.log(rate), contact))
        clean = [p for p in points if p[2] < TOLD_CONTACT]
        used = clean if len(clean) >= max(6, len(points) // 3) else points
        trend = trend_of([p[0] for p in used], [p[1] for p in used], floor=_SPREAD_FLOOR_LOG)
        if trend is not None:
            trends[string] = trend
    return trends


def _is_choked(
    cents: float | None, whole: float | None, usual: float | None, contact: float | None
) -> bool:
    if cents is not None and cents >= NEXT_FRET_CENTS:
        return abs(cents - 100.0 * round(cents / 100.0)) <= _CHOKED_OFF_GRID_CENTS
    if whole is None or contact is None or contact < TOLD_CONTACT:
        return False
    return whole >= max(_CHOKED_DB_PER_S, _CHOKED_RATIO * (usual or 0.0))


def _stopping(
    notes: Sequence[MeasuredNote], early: Mapping[int, tuple[float, float]]
) -> list[tuple[float, float]]:
    """Return how long a position's notes ring, and the usual, if all stop long before others do.

    What stops too soon to be measured may be a hand's doing in one pass, hardly in each of several;
    where any note of the place rings, measured or not, it is no choke.
    """
    counted = judged_notes(notes)
    if counted:
        told = [early[n.note.id] for n in counted if n.note.id in early]
        return told if len(told) == len(counted) else []
    cut = [n for n in notes if n.note.faults == ("cut short",) and n.note.id in early]
    passes = {(n.note.recording, n.note.direction) for n in cut}
    rings = any(n.note.end_s - n.note.onset_s > CHOKES_WITHIN_S for n in notes)
    return [early[n.note.id] for n in cut] if len(passes) > 1 and not rings else []


def _buzz_word(
    bars: Bars, *, contact: float | None, level_db: float | None, choked: bool
) -> Buzz | None:
    if choked:
        return "choked"
    if contact is None:
        return None
    if contact < TOLD_CONTACT:
        return "clean"
    return "buzz" if level_db is not None and level_db >= bars.buzz_db else "slight"


def sustain_word(bars: Bars, *, ratio: float, sure: float | None) -> Sustain:
    """Return the word for a fall.

    Parameters
    ----------
    bars
        Where the user sets them.
    ratio
        Rate over the string's usual at that fret.
    sure
        The same at the slow end of its interval, None where it has no interval of its own.
    """
    for bar, word in ((bars.dead_ratio, "dead"), (bars.short_ratio, "short")):
        if ratio >= bar and (sure is None or sure >= math.sqrt(bar)):
            return word  # type: ignore[return-value]
    return "rings"


def _pitch_word(bars: Bars, cents: float | None) -> PitchWord | None:
    if cents is None:
        return None
    if abs(cents) <= bars.pitch_cents:
        return "in tune"
    return "sharp" if cents > 0.0 else "flat"


def _sustain(
    bars: Bars,
    counted: Sequence[MeasuredNote],
    *,
    usual: float | None,
    in_a_room: bool,
) -> tuple[Sustain | None, str]:
    """Return the word for the falls of a position's notes, and why it is none or not the worst."""
    rates = _values(counted, lambda n: n.decay_db_per_s)
    if not rates or usual is None:
        return None, ""
    slow = _values(counted, lambda n: n.decay_low_db_per_s)

    def word_of(choose: Callable[[Sequence[float]], float]) -> Sustain:
        sure = choose(slow) / usual if slow else None
        return sustain_word(bars, ratio=choose(rates) / usual, sure=sure)

    word, worst = word_of(statistics.median_low), word_of(max)
    if len(rates) == 1:
        return (None, _ONCE) if in_a_room and word != "rings" else (word, "")
    if word == "rings" and worst != "rings" and max(rates) >= _FALLS_APART * min(rates):
        heard = " and ".join(f"{r:.0f}" for r in rates)
        return word, f"passes disagree: falls at {heard} dB/s"
    return word, ""


def _withheld(notes: Sequence[MeasuredNote], measure: str) -> str:
    """Return why a measure is missing, empty where no note says."""
    return next((why for n in notes for name, why in n.withheld if name == measure), "")


def _disagree(contacts: Sequence[float]) -> bool:
    """Return whether one pass strikes and another does not."""
    if not contacts:
        return False
    most, least = max(contacts), min(contacts)
    return most - least >= _DISAGREE or (most >= TOLD_CONTACT and least <= _FREE)


def _reason(
    notes: Sequence[MeasuredNote],
    contacts: Sequence[float],
    stopping: Sequence[tuple[float, float]],
) -> str:
    if stopping:
        length, usual = stopping[0]
        stops = f"stops after {length:.2f} s where the string's other notes ring {usual:.1f} s"
        once = "; heard once, so a hand may have cut it short: play it again"
        return stops + (once if len(stopping) == 1 else "")
    counted = judged_notes(notes)
    if not counted:
        first = notes[0]
        return first.reason or first.note.reason or "no note of it could be judged"
    if not contacts:
        return _withheld(counted, "contact") or "no buzz measured"
    if _disagree(contacts):
        # none is certain
        heard = " and ".join(f"{min(100 * c, 99.0):.0f} %" for c in contacts)
        return f"passes disagree: contact {heard}"
    told = max(contacts) >= TOLD_CONTACT or _values(counted, lambda n: n.decay_db_per_s)
    return "" if told else _withheld(counted, "decay_db_per_s")


def _with_level(counted: Sequence[MeasuredNote]) -> Sequence[MeasuredNote]:
    """Return the notes that give a position its level: those that strike, where any does."""
    return [n for n in counted if (n.contact or 0.0) >= TOLD_CONTACT] or counted


def _judge_position(
    place: Place,
    notes: Sequence[MeasuredNote],
    *,
    trend: Trend | None,
    early: Mapping[int, tuple[float, float]],
    bars: Bars,
    offset_cents: float,
    in_a_room: bool,
) -> Position:
    if not notes:
        return Position.unplayed(*place)
    counted = judged_notes(notes)
    cents = _values(counted, lambda n: n.cents)
    # a pass that lies on the next fret says nothing of the pitch of one that does not
    cents = [c for c in cents if c - offset_cents < NEXT_FRET_CENTS] or cents
    decay = _values(counted, lambda n: n.decay_db_per_s)
    levels = _with_level(counted)
    buzz = _values(levels, lambda n: n.buzz_db)
    amp = _values(levels, lambda n: n.buzz_amp_db)
    contacts = _values(counted, lambda n: n.contact)
    contact, rate = combined_contact(contacts), _middle(decay)
    usual = math.exp(float(trend.at(place[1]))) if trend is not None else None
    level = _middle(amp if bars.heard == "amp" else buzz)
    middle_cents = _middle(cents)
    off = None if middle_cents is None else middle_cents - offset_cents
    stopping = _stopping(notes, early)
    choked = bool(stopping) or _is_choked(
        off, _middle(_values(counted, lambda n: n.whole_decay_db_per_s)), usual, contact
    )
    ratio = rate / usual if rate is not None and usual is not None else None
    sustain, unlike = _sustain(bars, counted, usual=usual, in_a_room=in_a_room)
    return Position(
        string=place[0],
        fret=place[1],
        notes=tuple(n.note.id for n in notes),
        cents=middle_cents,
        cents_spread=_half_spread(cents),
        decay_db_per_s=rate,
        decay_spread_db_per_s=_half_spread(decay),
        decay_ratio=ratio,
        t60_s=None if rate is None else rate_to_t60(rate),
        buzz_db=_middle(buzz),
        buzz_amp_db=_middle(amp),
        buzz_spread_db=_half_spread(buzz),
        contact=contact,
        buzz=_buzz_word(bars, contact=contact, level_db=level, choked=choked),
        sustain=sustain,
        pitch=_pitch_word(bars, off),
        reason=_reason(notes, contacts, stopping) or unlike,
        passes_disagree=not stopping and _disagree(contacts),
    )


def judge_positions(
    guitar: Guitar,
    notes: Sequence[MeasuredNote],
    *,
    bars: Bars,
    offset_cents: float,
    in_a_room: bool = False,
) -> tuple[Position, ...]:
    """Return the verdict for every fret of every string, string 1 first, from the capo up.

    Parameters
    ----------
    in_a_room
        Whether a room is heard, in which no single pass tells a fast fall.
    """
    places = by_position(notes)
    trends, early = decay_trends(guitar, places), stopped_early(notes)
    return tuple(
        _judge_position(
            (string, fret),
            places.get((string, fret), ()),
            trend=trends.get(string),
            early=early,
            bars=bars,
            offset_cents=offset_cents,
            in_a_room=in_a_room,
        )
        for string in guitar.strings
        for fret in range(guitar.capo, guitar.frets + 1)
    )
