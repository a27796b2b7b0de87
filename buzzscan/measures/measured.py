"""What measuring a note returns.

Conventions
-----------
Intervals are 95 %. `withheld` names each measure that is None and says why.

Limits
------
`buzz_db` and `contact` are relative to what the string's own clean notes sound like, so they
need a run, not a single note.
"""

from __future__ import annotations

from dataclasses import dataclass

from buzzscan.notes.note import Note

__all__ = ["BuzzMeasure", "MeasuredNote"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BuzzMeasure:
    """What contact with the frets adds to one note.

    Parameters
    ----------
    buzz_db, buzz_amp_db, contact, contact_until_s, attack_contact
        As in `MeasuredNote`.
    reason
        Why `buzz_db` and `contact` are None; empty when they are not.
    """

    buzz_db: float | None
    buzz_amp_db: float | None
    contact: float | None
    contact_until_s: float | None
    reason: str
    attack_contact: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredNote:
    """One note with everything measured of it.

    Parameters
    ----------
    note
        Place and time.
    pitch_hz
        First partial after the glide of the attack, in Hz.
    cents
        `pitch_hz` against equal temperament for the position, in cents.
    pitch_error_cents
        Standard error of `cents`.
    glide_cents
        How much sharper than where it settles the note is at its onset, in cents: it grows with
        the square of the swing. May be negative by its error; a mean over many notes tells.
    inharmonicity
        B in f_n = n·f0·sqrt(1 + B·n²).
    attack_dbfs
        Highest short-time (10 ms) level around the onset.
    decay_db_per_s, decay_low_db_per_s, decay_high_db_per_s
        Fall of the first partial's level from 80 ms after the onset, and its interval.
    t60_s
        60 over the rate.
    whole_decay_db_per_s
        Fall of the whole note's level.
    edt_s, t20_s, t30_s
        Decay times by ISO 3382-1 evaluation ranges, where the range above noise allows.
    buzz_db
        Energy by which contact changes the note in 0.7–8 kHz from 55 ms to 600 ms after the
        onset, over the note's whole energy, in dB: what is fresh of what is heard and, by half, of
        what a free string would have there, corrected by what simulated strings taught. A little
        over 0 where contact takes most of the note and puts as much elsewhere.
    buzz_amp_db
        The same as heard through a guitar amp (up to 5 kHz), with the same correction.
    contact
        Probability that the string strikes a fret after the attack, 0–1.
    contact_until_s
        Seconds after the onset at which contact ends, where it could be told.
    judged, reason
        False with a reason when the note must not count for its position.
    withheld
        (measure, reason) for each measure that is None.
    attack_contact
        Probability, at even odds, that the string touches a fret within its attack: no buzz, but it
        tells how near the frets are. None beside `contact`, and where a string has too few notes.
    seen_decay_db_per_s, seen_decay_error_db_per_s
        Fall of the first partial with its standard error, be it certain enough to be told or
        not: notes of one pitch, taken together, tell what a single short one cannot.
    seen_room_db
        What the room may have done to the beginning of that fall: hundredths of a dB on a dry
        take, tenths in a room.
    """

    note: Note
    pitch_hz: float | None
    cents: float | None
    pitch_error_cents: float | None
    glide_cents: float | None
    inharmonicity: float | None
    attack_dbfs: float
    decay_db_per_s: float | None
    decay_low_db_per_s: float | None
    decay_high_db_per_s: float | None
    t60_s: float | None
    whole_decay_db_per_s: float | None
    edt_s: float | None
    t20_s: float | None
    t30_s: float | None
    buzz_db: float | None
    buzz_amp_db: float | None
    contact: float | None
    contact_until_s: float | None
    judged: bool
    reason: str
    withheld: tuple[tuple[str, str], ...]
    seen_decay_db_per_s: float | None = None
    seen_decay_error_db_per_s: float | None = None
    seen_room_db: float | None = None
    attack_contact: float | None = None
