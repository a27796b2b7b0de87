"""Dead spots: notes that the neck itself takes away.

Conventions
-----------
A note's fall is compared with its string's own smooth trend. A dead spot falls faster, adds no
highs and does not strike a fret; where notes strike, the fall is put down to the contact. It
follows frequency: all strings are judged together at each pitch, and what one resonance of the
neck takes on several strings is one dead spot.

Limits
------
A dead spot as wide as a third of the string bends the trend and is not seen. Changes of less
than about a quarter to two fifths in decay time are not heard (Tolonen & Järveläinen, 2000).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.falls import NO_CONTACT, PlaceFalls, falls_beside_usual, room_of
from buzzscan.neck.positions import Place, contact_on_the_whole, judged_notes
from buzzscan.neck.resonance import resonance_log_odds, scatter_of_wholes
from buzzscan.neck.verdict import Bars, Position
from buzzscan.neck.weighing import MOST_SURE

__all__ = ["DeadSpot", "dead_spots"]

_LEAST_LOG_ODDS = 0.0
"""A dead spot is told of when it is likelier than not."""
_WIDEST = 3
_SAME_PITCH_SEMITONES = 0.6
_ONE_RESONANCE_SEMITONES = 2.1
"""A resonance is up to two or three frets wide, and its deepest fret differs between strings."""
_PASS_CONTACT = 0.6
_NEIGHBOURS, _NEIGHBOUR_FRETS = 2, 4
"""So many notes this near must ring as the trend says: a spot stands out from neighbours."""


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
    places, ratios
        (string, fret) of all that it takes, here and on other strings, and how many times as fast
        as usual each falls.
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
    ratios: tuple[float, ...]
    followers: tuple[Place, ...]
    silent: tuple[Place, ...]
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Neck:
    """The falls that one pitch is judged beside."""

    guitar: Guitar
    falls: Mapping[Place, PlaceFalls]
    fast: frozenset[Place]
    short_ratio: float
    room_db: float
    whole_scatter: float

    def groups(self) -> set[tuple[Place, ...]]:
        """Return what shares a pitch, of the places that can be told from their string's others."""
        midi = {p: self.guitar.midi(*p) for p in self.falls}
        clear = [p for p in self.falls if self._has_neighbours(p)]
        shared = (
            tuple(p for p in clear if abs(midi[p] - here) <= _SAME_PITCH_SEMITONES)
            for here in midi.values()
        )
        return {group for group in shared if group}

    def _has_neighbours(self, place: Place) -> bool:
        """Whether enough near notes of the string ring as they should."""
        steps = [k for k in range(-_NEIGHBOUR_FRETS, _NEIGHBOUR_FRETS + 1) if k != 0]
        near = [(place[0], place[1] + k) for k in steps]
        return sum(p in self.falls and p not in self.fast for p in near) >= _NEIGHBOURS

    def log_odds(self, group: Sequence[Place]) -> float:
        """Return the log odds that the neck takes the pitch of some places."""
        return resonance_log_odds(
            [self.falls[p] for p in group],
            room_db=self.room_db,
            whole_scatter=self.whole_scatter,
        )

    def cover(self, place: Place) -> tuple[int, ...]:
        """Return the frets around a place that fall fast with it."""
        frets = {place[1]}
        for step in (-1, 1):
            for k in range(1, _WIDEST):
                if (place[0], place[1] + step * k) not in self.fast:
                    break
                frets.add(place[1] + step * k)
        return tuple(sorted(frets))


def _adds_no_highs(position: Position, notes: Sequence[MeasuredNote]) -> bool:
    """Whether the passes strike no fret on the whole, nor any single one for sure."""
    passes = [n.contact or 0.0 for n in judged_notes(notes)]
    if position.buzz == "choked" or (contact_on_the_whole(passes) or 0.0) >= NO_CONTACT:
        return False
    return all(c < _PASS_CONTACT for c in passes)


def _spot_at(group: Sequence[Place], neck: _Neck) -> DeadSpot | None:
    """Return the dead spot that takes the pitch of some places, if that is likelier than not."""
    fast = [p for p in group if p in neck.fast and neck.falls[p].ratio >= neck.short_ratio]
    if not fast:
        return None
    log_odds = neck.log_odds(group)
    if log_odds < _LEAST_LOG_ODDS:
        return None
    # The deepest for certain: a ratio that is mostly error is large by chance.
    deepest = max(fast, key=lambda p: neck.falls[p].ratio - neck.falls[p].error)
    frets = neck.cover(deepest)
    places = sorted({(p[0], fret) for p in fast for fret in neck.cover(p)})
    return DeadSpot(
        string=deepest[0],
        fret=deepest[1],
        frets=frets,
        ratio=neck.falls[deepest].ratio,
        pitch_hz=neck.guitar.pitch_hz(*deepest),
        places=tuple(places),
        ratios=tuple(neck.falls[p].ratio for p in places),
        followers=tuple(p for p in fast if p[0] != deepest[0]),
        silent=tuple(p for p in group if p not in neck.fast and p[0] != deepest[0]),
        confidence=min(1.0 / (1.0 + math.exp(-log_odds)), MOST_SURE),
    )


def dead_spots(
    guitar: Guitar,
    positions: Sequence[Position],
    places: Mapping[Place, Sequence[MeasuredNote]],
    *,
    bars: Bars,
) -> tuple[DeadSpot, ...]:
    """Return every dead spot, the surest first."""
    free = {
        place: places[place]
        for p in positions
        if (place := (p.string, p.fret)) in places and _adds_no_highs(p, places[place])
    }
    falls = falls_beside_usual(guitar, free)
    neck = _Neck(
        guitar=guitar,
        falls=falls,
        fast=frozenset(place for place, fall in falls.items() if fall.is_fast),
        short_ratio=bars.short_ratio,
        room_db=room_of([n for notes in free.values() for n in notes]),
        whole_scatter=scatter_of_wholes(list(falls.values())),
    )
    spots = (_spot_at(group, neck) for group in neck.groups())
    return _one_per_resonance(guitar, [spot for spot in spots if spot is not None])


def _merged(same: Sequence[DeadSpot]) -> DeadSpot:
    """Return the deepest spot, as sure as the surest, with all that the others take."""
    deepest = max(same, key=lambda s: s.ratio)
    taken = {place: r for s in same for place, r in zip(s.places, s.ratios, strict=True)}
    fast = {p for s in same for p in ((s.string, s.fret), *s.followers) if p[0] != deepest.string}
    return dataclasses.replace(
        deepest,
        places=tuple(sorted(taken)),
        ratios=tuple(taken[p] for p in sorted(taken)),
        followers=tuple(sorted(fast)),
        silent=tuple(p for p in deepest.silent if p[0] not in {string for string, _ in fast}),
        confidence=max(s.confidence for s in same),
    )


def _one_per_resonance(guitar: Guitar, spots: Sequence[DeadSpot]) -> tuple[DeadSpot, ...]:
    """Return one spot for all that lie within one resonance: the deepest, as sure as the surest."""

    def apart(one: DeadSpot, other: DeadSpot) -> float:
        return abs(guitar.midi(one.string, one.fret) - guitar.midi(other.string, other.fret))

    kept: list[DeadSpot] = []
    left = sorted(spots, key=lambda s: (-s.confidence, -s.ratio, s.places))
    while left:
        same = [s for s in left if apart(s, left[0]) <= _ONE_RESONANCE_SEMITONES]
        kept.append(_merged(same))
        left = [s for s in left if s not in same]
    return tuple(kept)
