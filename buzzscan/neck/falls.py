"""How fast every note falls beside the usual of its string, be it certain or not.

Conventions
-----------
Ratios are rates over the string's own smooth trend at that fret. Errors are standard errors, in
the same unit. What a note's decay is too uncertain to be told of still counts here, by its error.

Limits
------
Notes that strike a fret are left out: contact makes them fall fast. A string with fewer than
`MIN_POINTS` notes that say anything has no trend and nothing is said about it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.measures.level_slope import START_S
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import Place, decay_trends, judged_notes
from buzzscan.neck.trend import MIN_POINTS, Trend, trend_of

__all__ = [
    "IN_A_ROOM_DB",
    "NO_CONTACT",
    "PLUCK_SCATTER",
    "PlaceFalls",
    "falls_beside_usual",
    "room_of",
]

FloatArray = npt.NDArray[np.float64]

NO_CONTACT = 0.3
"""From this probability of contact on, the fall may be contact's doing."""
IN_A_ROOM_DB = 0.06
"""`room_of` over which a room is heard: 0.01–0.05 dB where the pickup is recorded, 0.08 and more
before a microphone, in every simulation (three, written apart)."""
PLUCK_SCATTER = 0.08
"""Scatter in ln(rate) between plucks of one note: real notes of one neck, at the very least."""
_AUDIBLE_RATIO = 1.3
"""A quarter less in time is heard (Tolonen & Järveläinen, 2000)."""
_NECK_SCATTER = 0.1
"""The same between neighbouring frets that nothing is wrong with."""
_MOST_ERROR = 0.6
"""Error over the usual rate up to which a note says anything about the trend."""
_LEAST_RATIO = 0.3
"""What seems to fall more slowly, or to rise, is noise: its logarithm would count too much."""
_LEAST_RATE_DB_PER_S = 1.0
_TREND_ROUNDS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceFalls:
    """The falls of one position's notes beside the usual.

    Parameters
    ----------
    ratios, errors
        Of each note, shape (n,).
    seen_s
        How long the fall of each was seen, shape (n,).
    usual_db_per_s
        The trend at this fret.
    scatter
        Of ln(rate) between the string's frets.
    log_wholes
        ln of the same ratio for the level of each whole note, shape (m,); may be empty.
    """

    ratios: FloatArray
    errors: FloatArray
    seen_s: FloatArray
    usual_db_per_s: float
    scatter: float
    log_wholes: FloatArray

    @property
    def ratio(self) -> float:
        """Mean of the notes, each by what it is worth."""
        return float(np.average(self.ratios, weights=1.0 / (self.errors**2 + PLUCK_SCATTER**2)))

    @property
    def is_fast(self) -> bool:
        """Whether the position falls audibly faster than usual."""
        return self.ratio >= _AUDIBLE_RATIO

    @property
    def error(self) -> float:
        """Standard error of the mean."""
        return float(np.sum(1.0 / (self.errors**2 + PLUCK_SCATTER**2)) ** -0.5)


def room_of(notes: Sequence[MeasuredNote]) -> float:
    """Return what the room does to the beginning of a take's falls, in dB; 0 if not known."""
    seen = [n.seen_room_db for n in notes if n.seen_room_db is not None and n.seen_room_db > 0.0]
    return math.exp(float(np.median(np.log(seen)))) if seen else 0.0


def falls_beside_usual(
    guitar: Guitar, places: Mapping[Place, Sequence[MeasuredNote]]
) -> dict[Place, PlaceFalls]:
    """Return the falls of every position whose notes strike no fret."""
    wholes = decay_trends(guitar, places, measure=lambda n: n.whole_decay_db_per_s)
    found: dict[Place, PlaceFalls] = {}
    for string in guitar.strings:
        seen = {
            fret: counted
            for fret in range(guitar.capo, guitar.frets + 1)
            if (counted := _counted(places.get((string, fret), ())))
        }
        trend = _trend_of(seen)
        if trend is not None:
            for fret, notes in seen.items():
                found[string, fret] = _beside(notes, fret, trend, wholes.get(string))
    return found


def _counted(notes: Sequence[MeasuredNote]) -> list[MeasuredNote]:
    return [
        n
        for n in judged_notes(notes)
        if n.seen_decay_db_per_s is not None and (n.contact or 0.0) < NO_CONTACT
    ]


def _rates(notes: Sequence[MeasuredNote]) -> tuple[FloatArray, FloatArray]:
    rates = np.array([n.seen_decay_db_per_s for n in notes], np.float64)
    return rates, np.array([n.seen_decay_error_db_per_s for n in notes], np.float64)


def _trend_of(seen: Mapping[int, Sequence[MeasuredNote]]) -> Trend | None:
    """Return the trend of ln(rate) over the frets of a string, each note by what it is worth.

    An error counts against the usual rate, not against its own: else a note that seems to fall
    slowly by its error would seem certain, and the trend would follow it.
    """
    notes = [n for counted in seen.values() for n in counted]
    if len(notes) < MIN_POINTS:
        return None
    frets = np.repeat(list(seen), [len(counted) for counted in seen.values()])
    rates, errors = _rates(notes)
    usual = np.full(len(rates), max(float(np.median(rates)), _LEAST_RATE_DB_PER_S))
    trend: Trend | None = None
    for _ in range(_TREND_ROUNDS):
        doubt = errors / np.maximum(rates, usual)
        use = doubt < _MOST_ERROR
        trend = trend_of(
            frets[use],
            np.log(np.maximum(rates, _LEAST_RATIO * usual)[use]),
            errors=doubt[use],
            floor=_NECK_SCATTER,
        )
        if trend is None:
            break
        usual = np.exp(trend.at(frets))
    return trend


def _beside(
    notes: Sequence[MeasuredNote], fret: int, trend: Trend, whole: Trend | None
) -> PlaceFalls:
    rates, errors = _rates(notes)
    usual = math.exp(float(trend.at(fret)))
    wholes = np.array([n.whole_decay_db_per_s or np.nan for n in notes], np.float64)
    wholes = wholes[np.isfinite(wholes)] if whole is not None else wholes[:0]
    usual_whole = math.exp(float(whole.at(fret))) if whole is not None else 1.0
    return PlaceFalls(
        ratios=rates / usual,
        errors=errors / usual,
        seen_s=np.array([n.note.end_s - n.note.onset_s - START_S for n in notes], np.float64),
        usual_db_per_s=usual,
        scatter=trend.spread,
        log_wholes=np.log(np.maximum(wholes / usual_whole, _LEAST_RATIO)),
    )
