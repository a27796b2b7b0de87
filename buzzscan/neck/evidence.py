"""What the notes say about contact, as arrays for the search for its cause.

Conventions
-----------
Arrays have the shape (strings, frets + 1), string 1 first, fret 0 first; before it stand the looks
at a place, the harder half of its picks first. A place with nothing to say is NaN inside this
package and never leaves it.

Limits
------
Two passes over one place share its fret, so they count for less than two independent looks. How
hard a note was picked is told by its level beside its string's other notes; what the angle of the
pick, the pickup and the room do to that level as well is not known.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.measures.contact import log_odds, logistic
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import Place, contact_odds, judged_notes
from buzzscan.neck.trend import trend_of
from buzzscan.neck.verdict import Position, tells_contact

__all__ = ["MOST_HARDER", "Evidence", "evidence_of"]

FloatArray = npt.NDArray[np.float64]

_STRIKES = 0.3
"""A note that chokes in its only pass and strikes less than this is stopped by the hand."""
_USUAL_TIMES, _USUAL_BOUNDS = 7.0, (0.018, 0.14)
"""A probability of contact counts for what it says beyond the usual: a few times the middle one of
the take's notes of about that pitch, on all strings, within bounds that a neck which strikes
everywhere does not pass. What a single note is taken for depends on its pitch and on how the take
was recorded (on simulated takes a strike is as likely as not from there)."""
_NEAR_SEMITONES = 3
_PASS_WEIGHT = 0.85
"""Weight of the log odds of each of several passes: what the model misses of a place they share."""
_LOOKS = 2
"""Into how many looks the passes over a place are gathered."""
_HARDER_PER_DB = 0.8 * np.log(10.0) / 20.0
"""Strength (ln) of a pick away from the neck per dB that a note's level stands out by (on simulated
takes; the rest is the angle, the place, the pickup, the body and the room)."""
MOST_HARDER = 0.4
"""No more strength (ln) is told by a level."""
_LEVEL_FLOOR_DB = 0.4
_SURELY_STRIKES = 0.5
_TOUCH_BOUNDS = (0.05, 30.0)
"""No pass says more than this for or against a touch in its attack: what a string does in its first
tenths of a second is the player's as much as the neck's."""
_LEFT_BY_TOUCH, _LEFT_FROM, _LEFT_MOST = 0.3, -2.0, 2.0
"""Log odds of a touch per log odds of contact beyond the usual, from where they speak for one, and
the most: a string that has touched a fret seldom sounds quite like one that has not, even where
nothing strikes (on simulated takes, beside what the attack tells)."""
_LOOK_BOUNDS = (0.03, 60.0)
"""No look says more than this for or against a touch, however many its passes: they share it."""
_PLAIN_ODDS, _PLAIN_SCALE, _PLAIN_SURE = 5.5, 2.7, 0.8
"""Log odds of contact at which a strike sounds plain, as likely as not, within how many more or
less it comes to do so, and how sure that may be (found on simulated strings)."""
_FREE_SHARES, _FREE_REACH = (0.1, 0.4), 2.6
"""Two shares of a string's attacks, its lowest, that mostly touch nothing, and how many times what
lies between their log odds, from the lower one, free ones reach: beyond, as many touch as are free
(on simulated takes of four models, whatever the middle of the free ones and their scatter)."""
_MOST_USUAL = 2.5
"""No string's free attacks are taken to reach further than these log odds: it may touch nearly
everywhere."""
_OWN_ATTACKS = 10.0
"""Attacks of a string that tell as much of how far its free ones reach as all those of the take."""
_SILENT_ODDS = 3.0
"""Log odds of contact for a pass that had time for a note and gave none. On simulated runs notes
that strike hard are lost a hundred times as often as free ones; a player may also rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Contact over the neck.

    Parameters
    ----------
    contact
        Probability of contact with even odds to begin with, shape (looks, strings, frets + 1); NaN
        where nothing was judged.
    plain
        Probability that a strike there, if it is one, is a plain one, as its sound has it; 0.5
        where that is not known. Shape as of `contact`.
    touched
        Log odds, from even ones, that the string touches a fret within its attack, by the attack
        and by what sounds after it, far below what is a strike; 0 where that is not known. Shape as
        of `contact`.
    harder
        How much harder than its string's notes on the whole it was picked, ln; 0 where that is not
        known. Shape as of `contact`.
    struck
        Whether the verdict on the place is that it buzzes, shape (strings, frets + 1).
    choked
        Whether the note chokes, with or without a pitch of its own; its contact is in the first
        look. Shape (strings, frets + 1).
    """

    contact: FloatArray
    plain: FloatArray
    touched: FloatArray
    harder: FloatArray
    struck: npt.NDArray[np.bool_]
    choked: npt.NDArray[np.bool_]

    @property
    def judged(self) -> npt.NDArray[np.bool_]:
        """Where anything was judged, shape (strings, frets + 1)."""
        return np.asarray(~np.isnan(self.contact).all(axis=0))

    @property
    def all_contact(self) -> FloatArray:
        """Probability of contact from all looks, 0 where none was judged, (strings, frets + 1)."""
        odds = np.nansum(contact_odds(self.contact), axis=0)
        return np.where(self.judged, logistic(odds), 0.0)

    @property
    def all_touched(self) -> FloatArray:
        """Log odds of a touch from all looks, shape (strings, frets + 1)."""
        return np.asarray(self.touched.sum(axis=0))


class _Pass(NamedTuple):
    """One pass over a place, or a look: as of `Evidence`, contact as log odds beyond the usual.

    How plain a strike it is, is NaN where nothing sounded.
    """

    contact: float
    touched: float
    harder: float
    plain: float


def _usual_odds(guitar: Guitar, notes: Iterable[MeasuredNote]) -> FloatArray:
    """Return the log odds of contact beyond which a note speaks for a strike, by pitch.

    Returns
    -------
    array of shape (highest MIDI number + 1,)
    """
    heard = [(guitar.midi(n.note.string, n.note.fret), n.contact or 0.0) for n in notes]
    pitch, contact = np.array(heard, np.float64).reshape(-1, 2).T
    highest = max(guitar.midi(s, guitar.frets) for s in guitar.strings)
    middle = [
        np.median(near) if (near := contact[np.abs(pitch - p) <= _NEAR_SEMITONES]).size else 0.0
        for p in range(int(np.ceil(highest)) + 1)
    ]
    return log_odds(np.clip(_USUAL_TIMES * np.array(middle), *_USUAL_BOUNDS))


def _harder(notes: Iterable[MeasuredNote]) -> dict[int, float]:
    """Return by note how much harder it was picked than its string's notes on the whole, ln.

    Recordings of one scan are taken to have one gain, as in `buzzscan.neck.softer`. A note that is
    quiet and strikes was stopped by the fret: how hard it was picked is not known.
    """
    strings = defaultdict(list)
    for note in notes:
        if note.note.judged:
            strings[note.note.string].append(note)
    out: dict[int, float] = {}
    for mine in strings.values():
        frets = [n.note.fret for n in mine]
        level_db = [n.attack_dbfs for n in mine]
        trend = trend_of(frets, level_db, floor=_LEVEL_FLOOR_DB)
        if trend is not None:
            over = _HARDER_PER_DB * (level_db - trend.at(frets))
            over = np.clip(over, -MOST_HARDER, MOST_HARDER)
            out.update(zip((n.note.id for n in mine), over.tolist(), strict=True))
    return out


def _pass(contact: float, *, touched: float | None, harder: float) -> _Pass:
    """Return what one pass says, where `touched` is what its attack says of a touch, if anything.

    What sounds after the attack says more of it.
    """
    plain = float(logistic(np.array((contact - _PLAIN_ODDS) / _PLAIN_SCALE)))
    if touched is None:
        return _Pass(contact, 0.0, harder, plain)
    left = min(_LEFT_BY_TOUCH * (contact - _LEFT_FROM), _LEFT_MOST)
    return _Pass(contact, touched + left, harder, plain)


def _looks(passes: Sequence[_Pass]) -> list[_Pass]:
    """Return the looks that the passes over a place give, from the hardest picks to the softest."""
    hardest_first = np.array(sorted(passes, key=lambda one: -one.harder))
    weight = 1.0 if len(passes) == 1 else _PASS_WEIGHT
    looks = []
    for half in np.array_split(hardest_first, _LOOKS):
        if half.size:
            contact, touched, harder, plain = half.T
            of_touch = float(np.clip(weight * touched.sum(), *np.log(_LOOK_BOUNDS)))
            heard = plain[~np.isnan(plain)]
            # as plain as one of them, however many they are
            as_plain = float(heard.mean()) if heard.size else 0.5
            as_plain = min(max(as_plain, 1.0 - _PLAIN_SURE), _PLAIN_SURE)
            looks.append(_Pass(weight * contact.sum(), of_touch, float(harder.mean()), as_plain))
    return looks


def _touch_odds(attacks: Iterable[MeasuredNote]) -> FloatArray:
    """Return the log odds of a touch, from even ones."""
    told = np.array([n.attack_contact for n in attacks], np.float64)
    return log_odds(np.clip(told, 1e-6, 1.0 - 1e-6))


class _Touches(NamedTuple):
    """What attacks are worth in a take: those of the notes that tell by theirs.

    Parameters
    ----------
    usual
        By string, log odds that its free attacks reach anyway.
    heard
        Share of touches that the take lets hear.
    """

    usual: Mapping[int, float]
    heard: float

    def log_odds(self, attacks: Sequence[MeasuredNote]) -> dict[int, float]:
        """Return by note the log odds that it touches a fret in its attack."""
        odds = np.log1p(self.heard * (_touch_ratios(attacks, self.usual) - 1.0))
        return dict(zip((n.note.id for n in attacks), odds.tolist(), strict=True))


def _touch_ratios(attacks: Sequence[MeasuredNote], usual: Mapping[int, float]) -> FloatArray:
    """Return how much likelier each attack is with a touch than without."""
    anyway = np.array([usual[n.note.string] for n in attacks])
    ratios: FloatArray = np.clip(np.exp(_touch_odds(attacks) - anyway), *_TOUCH_BOUNDS)
    return ratios


def _free_reach(odds: FloatArray) -> float:
    """Return the log odds of a touch that free attacks reach, by the lower ones of all."""
    low, high = np.quantile(odds, _FREE_SHARES)
    return float(low + _FREE_REACH * (high - low))


def _usual_touches(attacks: Sequence[MeasuredNote]) -> dict[int, float]:
    """Return by string the log odds that its free attacks reach, each by its own and by all."""
    if not attacks:
        return {}
    strings = defaultdict(list)
    for note in attacks:
        strings[note.note.string].append(note)
    everywhere = _free_reach(_touch_odds(attacks))
    out = {}
    for string, mine in strings.items():
        own = len(mine) / (len(mine) + _OWN_ATTACKS)
        reach = own * _free_reach(_touch_odds(mine)) + (1.0 - own) * everywhere
        out[string] = min(max(reach, 0.0), _MOST_USUAL)
    return out


def _touches(attacks: Sequence[MeasuredNote]) -> _Touches:
    """Return what attacks are worth in a take, by its own.

    A guitar whose attacks look like touches where nothing goes on striking, starts like that, and
    some of its strings do more than others: what its free attacks reach is no touch. And what goes
    on striking has touched in its attack: where those attacks sound like any other, a clear attack
    is no sign of a free string.
    """
    usual = _usual_touches(attacks)
    struck = [n for n in attacks if n.contact is not None and n.contact >= _SURELY_STRIKES]
    ratios = _touch_ratios(struck, usual)
    shares = np.linspace(0.0, 1.0, 21)
    likely = np.log1p(np.outer(shares, ratios - 1.0)).sum(axis=1)
    weight = np.exp(likely - likely.max())
    return _Touches(usual, float((weight * shares).sum() / weight.sum()))


def evidence_of(
    guitar: Guitar,
    positions: Sequence[Position],
    places: Mapping[Place, Sequence[MeasuredNote]],
    *,
    silent: Mapping[Place, int],
) -> Evidence:
    """Return the contact evidence of all positions as arrays.

    Parameters
    ----------
    silent
        Passes of a place that had time for a note and gave none.
    """
    judged = {place: judged_notes(notes) for place, notes in places.items()}
    everything = [n for notes in judged.values() for n in notes]
    told = [n for n in everything if n.contact is not None]
    usual, harder = _usual_odds(guitar, told), _harder(told)
    attacks = [n for n in everything if n.attack_contact is not None]
    touches = _touches(attacks).log_odds(attacks)
    shape = (guitar.n_strings, guitar.frets + 1)
    contact = np.full((_LOOKS, *shape), np.nan)
    touched, picked = np.zeros_like(contact), np.zeros_like(contact)
    plain = np.full_like(contact, 0.5)
    choked, struck = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)
    for position in positions:
        at = position.string - 1, position.fret
        place = position.string, position.fret
        beyond = float(usual[round(guitar.midi(*place))])
        passes = [
            _pass(
                float(contact_odds(n.contact)) - beyond,
                touched=touches.get(n.note.id),
                harder=harder.get(n.note.id, 0.0),
            )
            for n in judged.get(place, ())
            if n.contact is not None
        ]
        passes += [_Pass(_SILENT_ODDS, 0.0, 0.0, np.nan)] * silent.get(place, 0)
        for i, look in enumerate(_looks(passes)):
            contact[i][at] = logistic(np.array(look.contact))
            touched[i][at], picked[i][at] = look.touched, look.harder
            plain[i][at] = look.plain
        struck[at] = tells_contact(position.buzz)
        if position.buzz == "choked":
            by_hand = len(position.notes) == 1 and (position.contact or 0.0) < _STRIKES
            choked[at] = not by_hand
            for look_contact, look_touched in zip(contact, touched, strict=True):
                look_contact[at], look_touched[at] = np.nan, 0.0
            contact[0][at] = np.nan if by_hand else 1.0
    return Evidence(
        contact=contact,
        plain=plain,
        touched=touched,
        harder=picked,
        struck=struck,
        choked=choked,
    )
