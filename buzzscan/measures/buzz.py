"""Buzz of every note: how likely, how much, and until when the string strikes frets.

Conventions
-----------
`contact` is a probability: 0.5 is the natural bar. `buzz_db` is the energy that is there
because of contact, in 0.7–8 kHz from 55 to 600 ms after the onset, over the note's whole
energy; a shorter note is judged by what there is of it. `buzz_amp_db` is the same in the part
that a guitar's speaker passes.

Limits
------
A string that is stopped by hand within a few hundred milliseconds looks like one that chokes
on a fret. Contact within the first 50 ms only, the snap of a hard pick, is not buzz. The end of
contact is told to within 0.1 s in four of five simulated notes without a room.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from buzzscan.guitar import Guitar
from buzzscan.measures.buzz_cues import PARTS_HZ, Cues, hear_cues
from buzzscan.measures.buzz_noise import measure_noise_floor
from buzzscan.measures.contact import Place, contact_probabilities
from buzzscan.measures.measured import BuzzMeasure
from buzzscan.notes.note import Note
from buzzscan.partials import PartialFit
from buzzscan.recording import Recording
from buzzscan.units import hz_to_cents

__all__ = ["measure_buzz"]

_AMP_TOP_HZ = 5000.0
"""Up to where guitar speakers pass sound (encyclopedic value; the steep fall above is common
knowledge among builders). They pass all of the low end of what counts as buzz."""
_FRESH_TO_BUZZ_DB = 20.0
"""What contact has pushed into a partial stays there for many frames, so the part of its energy
that is due to contact is larger than what is fresh in one frame (simulated strings)."""
_SHARP_CENTS = 80.0
"""A string that rests on the next fret sounds 100 cents above the fret that is held."""
_RESTING = 0.95
_LEAST_BUZZ_DB = -100.0
_LIKELY = 0.5
_LEAST_SLOTS = 6
_KNEE_DB = 8.0
"""Least step between struck and free for the end of contact to be told: twice the scatter of
the course of a steady note."""
_FREE_DB = -14.0
"""Fresh share above which a string is not free (clean simulated notes lie below)."""
_LAG_S = 0.03
"""Frames that reach back before the end of contact still show it (median over simulated notes
whose contact ends between 0.15 and 0.45 s)."""


def measure_buzz(
    recordings: Sequence[Recording],
    guitar: Guitar,
    notes: Sequence[Note],
    fits: Sequence[PartialFit | None],
    *,
    offset_cents: float = 0.0,
) -> tuple[BuzzMeasure, ...]:
    """Return what contact with the frets adds to each note, parallel to `notes`.

    Parameters
    ----------
    recordings
        `Note.recording` indexes them.
    guitar
        The instrument the notes were placed on.
    notes
        As found, of one run or several.
    fits
        Partials of each note, None where no string was heard at its pitch.
    offset_cents
        How far the instrument as a whole lies from its nominal pitch.
    """
    heard: list[Cues | None] = [None] * len(notes)
    for index, recording in enumerate(recordings):
        mine = [i for i, note in enumerate(notes) if note.recording == index]
        if not mine:
            continue
        in_time = sorted((notes[i] for i in mine), key=lambda note: note.onset_s)
        noise = measure_noise_floor(recording, in_time)
        rate = recording.sample_rate_hz
        for i in mine:
            note = notes[i]
            heard[i] = hear_cues(
                recording.read(round(note.onset_s * rate), round(note.end_s * rate)),
                sample_rate_hz=rate,
                first_partial_hz=_sounding_hz(guitar, note, fits[i]),
                noise=noise,
            )
    told = [i for i, cues in enumerate(heard) if cues is not None]
    probabilities = contact_probabilities(
        [cues for cues in heard if cues is not None],
        [Place(notes[i].recording, notes[i].string, notes[i].fret) for i in told],
    )
    contact = dict(zip(told, probabilities, strict=True))
    return tuple(
        _measure(cues, contact.get(i), rests=_rests(guitar, notes[i], fits[i], offset_cents))
        for i, cues in enumerate(heard)
    )


def _sounding_hz(guitar: Guitar, note: Note, fit: PartialFit | None) -> float:
    """Return the first partial that sounds: as fitted, as heard, or as the place has it."""
    if fit is not None:
        return fit.pitch_hz
    return note.pitch_hz or guitar.pitch_hz(note.string, note.fret)


def _rests(guitar: Guitar, note: Note, fit: PartialFit | None, offset_cents: float) -> bool:
    """Return whether the note sounds at least a fret above the one that is held."""
    sounding = _sounding_hz(guitar, note, fit)
    sharp = hz_to_cents(sounding, guitar.pitch_hz(note.string, note.fret)) - offset_cents
    return sharp > _SHARP_CENTS


def _measure(cues: Cues | None, contact: float | None, *, rests: bool) -> BuzzMeasure:
    if cues is None or contact is None:
        return BuzzMeasure(
            buzz_db=None,
            buzz_amp_db=None,
            contact=None,
            contact_until_s=None,
            reason="shorter than 0.13 s: too little is left after the attack",
        )
    contact = max(float(contact), _RESTING) if rests else float(contact)
    return BuzzMeasure(
        buzz_db=_buzz_db(cues, contact, PARTS_HZ[-1]),
        buzz_amp_db=_buzz_db(cues, contact, _AMP_TOP_HZ),
        contact=contact,
        contact_until_s=_contact_until(cues) if contact >= _LIKELY else None,
        reason="",
    )


def _contact_until(cues: Cues) -> float | None:
    """Return when the string came free of the fret, None if it did not or cannot be told.

    The course of the fresh share falls from that of contact to that of a free string; the end
    is where it last crosses the middle between the two.
    """
    course = np.asarray(cues.course_fresh_db)
    if course.size < _LEAST_SLOTS:
        return None
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(course, 3), axis=1)
    struck = float(np.max(smooth[: max(course.size // 3, 1)]))
    free = float(np.min(smooth))
    if struck - free < _KNEE_DB or free > _FREE_DB:
        return None
    last = int(np.flatnonzero(smooth > 0.5 * (struck + free))[-1]) + 1
    if last >= smooth.size - 1:
        return None
    return float(0.5 * (cues.course_s[last] + cues.course_s[last + 1]) - _LAG_S)


def _buzz_db(cues: Cues, contact: float, up_to_hz: float) -> float:
    """Return the energy of buzz: what it would be, less where contact is unlikely."""
    parts = np.asarray(cues.part_db)
    fresh = np.minimum(np.asarray(cues.part_fresh_db) + _FRESH_TO_BUZZ_DB, 0.0)
    energy = 10.0 ** ((parts + fresh) / 10.0)
    inside = np.asarray(PARTS_HZ[1:]) <= up_to_hz
    doubt = min(contact / _LIKELY, 1.0)
    return max(10.0 * float(np.log10(doubt * np.sum(energy[inside]))), _LEAST_BUZZ_DB)
