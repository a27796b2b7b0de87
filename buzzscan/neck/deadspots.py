"""Dead spots: notes that the neck itself takes away.

Conventions
-----------
A note's fall is compared with its string's own smooth trend. A dead spot falls faster in every
pass, adds no highs and does not strike a fret; where notes strike, the fall is put down to the
contact. It follows frequency: the same pitch on other strings is looked up and reported, and
what one resonance of the neck takes on several strings is one dead spot.

Limits
------
A dead spot as wide as a third of the string bends the trend and is not seen. Changes of less
than about a quarter to two fifths in decay time are not heard (Tolonen & Järveläinen, 2000).
"""

from __future__ import annotations

import dataclasses
import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import Place, decay_trends, judged_notes
from buzzscan.neck.trend import Trend
from buzzscan.neck.verdict import Bars, Position
from buzzscan.neck.weighing import MOST_SURE

__all__ = ["DeadSpot", "dead_spots"]

_EVERY_PASS_SHARE = 0.6
"""Each pass must show this share of the (logarithmic) fall that is asked of their middle."""
_CERTAIN_SIGMAS = 3.5
_SINGLE_PASS_SIGMAS = 6.0
"""With one pass alone, and no other string that falls fast at its pitch, nothing shows that the
fall comes back."""
_FOLLOWER_SIGMAS, _ENOUGH_FOLLOWERS = 0.5, 2
"""Of a note that is dead so much less is asked for each other string that falls fast at the same
pitch. Where two do, the neck takes the pitch, whatever the note's other partials make of it."""
_SHOULDER_RATIO = 1.3
"""Neighbours that fall this much faster belong to the spot: −25 % in time is heard."""
_WIDEST = 3
_SAME_PITCH_SEMITONES = 0.6
_ONE_RESONANCE_SEMITONES = 1.1
"""A resonance is up to two or three frets wide, and its deepest fret differs between strings."""
_NO_CONTACT = 0.3
"""Above this, in the middle of the passes, the fall may be contact's doing."""
_PASS_CONTACT = 0.6
_NEIGHBOURS, _NEIGHBOUR_FRETS = 2, 4
"""So many notes this near must ring as the trend says: a spot stands out from neighbours."""
_WHOLE_RATIO, _WHOLE_DEEP_RATIO = 1.25, 0.8
"""The whole note must fall faster too; where the first partial falls twice as fast as usual, it
must at least not ring on: else a room's own wave takes the partial, and nobody hears it die."""
_PASS_SIGMA_LOG = 0.12
"""Least scatter in ln(rate) between two plucks of one note."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadSpot:
    """One dead spot on one string.

    Parameters
    ----------
    string, fret
        Where it is deepest.
    frets
        All frets that it covers.
    ratio
        How many times as fast as the trend the deepest fret falls.
    pitch_hz
        Frequency it takes.
    places
        (string, fret) of all that it takes, here and on other strings.
    followers
        (string, fret) of the same pitch on other strings that fall fast as well.
    silent
        (string, fret) of the same pitch on other strings that ring as they should.
    confidence
        Probability that it is one, 0–1.
    """

    string: int
    fret: int
    frets: tuple[int, ...]
    ratio: float
    pitch_hz: float
    places: tuple[Place, ...]
    followers: tuple[Place, ...]
    silent: tuple[Place, ...]
    confidence: float


def _rates(notes: Sequence[MeasuredNote]) -> list[float]:
    return [n.decay_db_per_s for n in judged_notes(notes) if n.decay_db_per_s is not None]


def _whole_rates(notes: Sequence[MeasuredNote]) -> list[float]:
    rates = (n.whole_decay_db_per_s for n in judged_notes(notes))
    return [r for r in rates if r is not None]


def _half_spread(notes: Sequence[MeasuredNote]) -> float:
    """Return half the spread of ln(rate) between the passes."""
    rates = _rates(notes)
    return 0.5 * math.log(max(rates) / min(rates)) if rates and min(rates) > 0.0 else 0.0


def _every_pass(notes: Sequence[MeasuredNote], usual: float, least: float) -> bool:
    rates = _rates(notes)
    return bool(rates) and min(rates) / usual >= least


def _whole_note_dies(
    notes: Sequence[MeasuredNote], fret: int, trend: Trend | None, *, deep: bool
) -> bool:
    """Whether the level of the whole note falls faster than usual, where it was measured."""
    rates = _whole_rates(notes)
    if not rates or trend is None:
        return True
    usual = math.exp(float(trend.at(fret)))
    if deep:
        return min(rates) >= _WHOLE_DEEP_RATIO * usual
    return statistics.median(rates) >= _WHOLE_RATIO * usual


def _adds_no_highs(position: Position, notes: Sequence[MeasuredNote]) -> bool:
    """Whether neither the middle nor any single pass strikes a fret."""
    if position.buzz == "choked" or (position.contact or 0.0) >= _NO_CONTACT:
        return False
    return all((n.contact or 0.0) < _PASS_CONTACT for n in judged_notes(notes))


def _near(place: Place, neck: _Neck) -> list[Position]:
    """Return the notes beside one on its string that strike no fret."""
    steps = [k for k in range(-_NEIGHBOUR_FRETS, _NEIGHBOUR_FRETS + 1) if k != 0]
    near = [neck.positions.get((place[0], place[1] + k)) for k in steps]
    return [p for p in near if p is not None and (p.contact or 0.0) < _PASS_CONTACT]


def _stands_out(place: Place, neck: _Neck) -> bool:
    """Whether enough near notes of the string ring as they should in their first partial."""
    ratios = [p.decay_ratio for p in _near(place, neck) if p.decay_ratio is not None]
    return sum(r < _SHOULDER_RATIO for r in ratios) >= _NEIGHBOURS


def _stands_out_whole(place: Place, neck: _Neck) -> bool:
    """Whether the whole note falls fast, and enough near ones ring whole.

    That tells where a room makes first partials that fall slowly too unsteady to be measured.
    """
    trend = neck.wholes.get(place[0])
    if trend is None or not _whole_rates(neck.places.get(place, ())):
        return False

    def ratio(fret: int) -> float:
        rates = _whole_rates(neck.places.get((place[0], fret), ()))
        return statistics.median(rates) / math.exp(float(trend.at(fret))) if rates else math.inf

    ringing = [p for p in _near(place, neck) if ratio(p.fret) < _SHOULDER_RATIO]
    return ratio(place[1]) >= _WHOLE_RATIO and len(ringing) >= _NEIGHBOURS


def _same_pitch(
    guitar: Guitar, place: Place, positions: Mapping[Place, Position]
) -> tuple[tuple[Place, ...], tuple[Place, ...]]:
    midi = guitar.midi(*place)
    followers: list[Place] = []
    silent: list[Place] = []
    for other, position in positions.items():
        if other[0] == place[0] or position.decay_ratio is None:
            continue
        if abs(guitar.midi(*other) - midi) > _SAME_PITCH_SEMITONES:
            continue
        fast = position.decay_ratio >= _SHOULDER_RATIO and (position.contact or 0.0) < _NO_CONTACT
        (followers if fast else silent).append(other)
    return tuple(followers), tuple(silent)


def _cover(place: Place, positions: Mapping[Place, Position]) -> tuple[int, ...]:
    frets = {place[1]}
    for step in (-1, 1):
        for k in range(1, _WIDEST):
            beside = positions.get((place[0], place[1] + step * k))
            if beside is None or (beside.decay_ratio or 0.0) < _SHOULDER_RATIO:
                break
            if (beside.contact or 0.0) >= _NO_CONTACT:
                break  # what strikes a fret falls fast for that
            frets.add(place[1] + step * k)
    return tuple(sorted(frets))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Neck:
    """Everything that one position is judged beside."""

    guitar: Guitar
    positions: Mapping[Place, Position]
    places: Mapping[Place, Sequence[MeasuredNote]]
    wholes: Mapping[int, Trend]
    bars: Bars


def _enough_passes(notes: Sequence[MeasuredNote], *, sigmas: float, agree: int) -> bool:
    """Whether a fall this deep is certain: in every pass where there are two, else very deep."""
    passes = len(_rates(notes))
    if passes < min(len(judged_notes(notes)), 2):
        return False
    certain = _CERTAIN_SIGMAS if passes > 1 or agree else _SINGLE_PASS_SIGMAS
    return sigmas >= certain - agree * _FOLLOWER_SIGMAS


def _spot_at(position: Position, ratio: float, trend: Trend, neck: _Neck) -> DeadSpot | None:
    """Return the dead spot whose deepest fret a position is, if it is one."""
    place = position.string, position.fret
    notes = neck.places.get(place, ())
    if not _adds_no_highs(position, notes):
        return None
    if not (_stands_out(place, neck) or _stands_out_whole(place, neck)):
        return None
    followers, silent = _same_pitch(neck.guitar, place, neck.positions)
    whole, deep = neck.wholes.get(position.string), ratio >= neck.bars.dead_ratio
    agree = min(len(followers), _ENOUGH_FOLLOWERS) if deep else 0
    dies = _whole_note_dies(notes, position.fret, whole, deep=deep)
    usual = math.exp(float(trend.at(position.fret)))
    sigmas = math.log(ratio) / math.hypot(trend.spread, _PASS_SIGMA_LOG, _half_spread(notes))
    least = neck.bars.short_ratio**_EVERY_PASS_SHARE
    if not dies and agree < _ENOUGH_FOLLOWERS:
        return None
    if not _enough_passes(notes, sigmas=sigmas, agree=agree):
        return None
    if not _every_pass(notes, usual, least):
        return None
    frets = _cover(place, neck.positions)
    support = sigmas - _CERTAIN_SIGMAS + 0.7 * len(followers) - 0.2 * len(silent)
    support += 0.8 if len(_rates(notes)) > 1 else -2.0
    return DeadSpot(
        string=place[0],
        fret=place[1],
        frets=frets,
        ratio=ratio,
        pitch_hz=neck.guitar.pitch_hz(*place),
        places=tuple((place[0], fret) for fret in frets),
        followers=followers,
        silent=silent,
        confidence=min(1.0 / (1.0 + math.exp(-0.4 - support)), MOST_SURE),
    )


def dead_spots(
    guitar: Guitar,
    positions: Sequence[Position],
    places: Mapping[Place, Sequence[MeasuredNote]],
    trends: Mapping[int, Trend],
    *,
    bars: Bars,
) -> tuple[DeadSpot, ...]:
    """Return every dead spot, deepest first."""
    neck = _Neck(
        guitar=guitar,
        positions={(p.string, p.fret): p for p in positions},
        places=places,
        wholes=decay_trends(guitar, places, measure=lambda n: n.whole_decay_db_per_s),
        bars=bars,
    )
    found: list[DeadSpot] = []
    taken: set[Place] = set()
    for position in sorted(positions, key=lambda p: -(p.decay_ratio or 0.0)):
        ratio, trend = position.decay_ratio, trends.get(position.string)
        if ratio is None or ratio < bars.short_ratio or trend is None:
            continue
        if (position.string, position.fret) in taken:
            continue
        spot = _spot_at(position, ratio, trend, neck)
        if spot is not None:
            taken.update(spot.places)
            found.append(spot)
    return _one_per_resonance(guitar, found)


def _one_per_resonance(guitar: Guitar, found: Sequence[DeadSpot]) -> tuple[DeadSpot, ...]:
    """Return the spots, deepest first, with those of one pitch on other strings put into one."""
    kept: list[DeadSpot] = []
    for spot in found:
        midi = guitar.midi(spot.string, spot.fret)
        same = next(
            (
                i
                for i, k in enumerate(kept)
                if abs(guitar.midi(k.string, k.fret) - midi) <= _ONE_RESONANCE_SEMITONES
                and spot.string not in {s for s, _ in k.places}
            ),
            None,
        )
        if same is None:
            kept.append(spot)
            continue
        first = kept[same]
        followers = {*first.followers, (spot.string, spot.fret)}
        kept[same] = dataclasses.replace(
            first,
            places=tuple(sorted({*first.places, *spot.places})),
            followers=tuple(sorted(followers)),
            silent=tuple(p for p in first.silent if p not in followers),
            confidence=max(first.confidence, spot.confidence),
        )
    return tuple(kept)
