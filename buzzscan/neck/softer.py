"""The same run played hard and soft: buzz is judged where it was played hard.

Conventions
-----------
A take is softer by the median, over positions that both takes hold, of the difference in attack
level in dB.

Limits
------
Recordings of one scan are taken to have one gain: a take recorded lower counts as softer. Its
notes then stand for pitch and decay only, which loses a second look at buzz and invents none.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Mapping, Sequence
from statistics import median

from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import TOLD_CONTACT, Place, by_position, judged_notes
from buzzscan.neck.verdict import Position

__all__ = ["hard_takes_only", "soft_takes", "with_softer"]

_SOFTER_DB = 5.0
"""Twice the scatter of a careful player's picks, and more than two takes meant to be alike differ
by (common practice, no source)."""
_SHARED = 6
"""As many positions must be in both takes."""
_FREE = 0.1
"""Contact under which a softer note struck nothing."""


def soft_takes(notes: Sequence[MeasuredNote]) -> dict[int, float]:
    """Return recordings that were played softer than the hardest one, and by how many dB."""
    levels: dict[int, dict[Place, float]] = defaultdict(dict)
    for place, mine in by_position(notes).items():
        by_take = defaultdict(list)
        for n in judged_notes(mine):
            by_take[n.note.recording].append(n.attack_dbfs)
        for take, values in by_take.items():
            levels[take][place] = median(values)
    softer: dict[int, float] = {}
    for take, own in levels.items():
        for other in levels.values():
            shared = own.keys() & other.keys()
            if len(shared) >= _SHARED:
                by = median(other[p] - own[p] for p in shared)
                if by >= _SOFTER_DB:
                    softer[take] = max(by, softer.get(take, 0.0))
    return softer


def hard_takes_only(
    notes: Sequence[MeasuredNote], soft: Mapping[int, float]
) -> tuple[MeasuredNote, ...]:
    """Return the notes; a softer one says nothing of buzz where a harder one was judged."""
    hard = {
        (n.note.string, n.note.fret) for n in judged_notes(notes) if n.note.recording not in soft
    }
    return tuple(
        _without_buzz(n, soft[n.note.recording])
        if n.note.recording in soft and (n.note.string, n.note.fret) in hard
        else n
        for n in notes
    )


def _without_buzz(note: MeasuredNote, by_db: float) -> MeasuredNote:
    reason = f"picked {by_db:.0f} dB softer than in another take, which buzz is judged by"
    return dataclasses.replace(
        note,
        buzz_db=None,
        buzz_amp_db=None,
        contact=None,
        contact_until_s=None,
        attack_contact=None,
        withheld=(*note.withheld, ("buzz_db", reason), ("contact", reason)),
    )


def with_softer(
    positions: Sequence[Position], notes: Sequence[MeasuredNote], soft: Mapping[int, float]
) -> tuple[Position, ...]:
    """Return the positions, told where a note strikes when picked hard and not when softer.

    Parameters
    ----------
    notes
        With what the softer takes measured.
    """
    places = by_position(notes)
    told = []
    for p in positions:
        mine = [
            n
            for n in judged_notes(places.get((p.string, p.fret), ()))
            if n.note.recording in soft and n.contact is not None
        ]
        strikes = p.contact is not None and p.contact >= TOLD_CONTACT
        if strikes and mine and not p.reason and all((n.contact or 0.0) < _FREE for n in mine):
            by = min(soft[n.note.recording] for n in mine)
            reason = f"rings free when picked {by:.0f} dB softer: it strikes with the swing"
            told.append(dataclasses.replace(p, reason=reason))
        else:
            told.append(p)
    return tuple(told)
