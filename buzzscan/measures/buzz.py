"""Buzz of every note: how likely, how much, and until when the string strikes frets.

Conventions
-----------
`contact` is a probability: 0.5 is the natural bar. `buzz_db` is the energy by which the note
differs from a free string's because of contact, in 0.7–8 kHz from 55 to 600 ms after the onset,
over the note's whole energy; a shorter note is judged by what there is of it. `buzz_amp_db` is
the same in the part that a guitar's speaker passes.

Limits
------
A string that is stopped by hand within a few hundred milliseconds looks like one that chokes
on a fret. Contact within the first 50 ms only, the snap of a hard pick, is not buzz. The end of
contact is told to within 0.1 s in four of five simulated notes without a room.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.measures.attack import Attack, hear_attack, touch_probabilities
from buzzscan.measures.buzz_cues import PARTS_HZ, Cues, hear_cues
from buzzscan.measures.buzz_energy import buzz_levels_db, free_parts_db
from buzzscan.measures.buzz_noise import measure_noise_floor
from buzzscan.measures.contact import Place, contact_probabilities
from buzzscan.measures.measured import BuzzMeasure
from buzzscan.notes.note import Note
from buzzscan.partials import PartialFit
from buzzscan.recording import Recording
from buzzscan.units import hz_to_cents

__all__ = ["LIKELY", "NEXT_FRET_CENTS", "HeardNote", "hear_notes", "measure_buzz"]

FloatArray = npt.NDArray[np.floating[Any]]

_AMP_TOP_HZ = 5000.0
"""Up to where guitar speakers pass sound (encyclopedic value; the steep fall above is common
knowledge among builders). They pass all of the low end of what counts as buzz."""
NEXT_FRET_CENTS = 70.0
"""A string that rests on the next fret sounds 100 cents above the fret that is held; from here it
is nearer to that than to its own pitch, errors allowed."""
_RESTING = 0.95
LIKELY = 0.5
"""Probability of contact from which a note is taken to strike."""
_LEAST_SLOTS = 6
_KNEE_DB = 8.0
"""Least step between struck and free for the end of contact to be told: twice the scatter of
the course of a steady note."""
_FREE_DB = -14.0
"""Fresh share above which a string is not free (clean simulated notes lie below)."""
_LAG_S = 0.03
"""Frames that reach back before the end of contact still show it (median over simulated notes
whose contact ends between 0.15 and 0.45 s)."""
_NOT_TOLD = BuzzMeasure(
    buzz_db=None,
    buzz_amp_db=None,
    contact=None,
    contact_until_s=None,
    reason="shorter than 0.13 s: too little is left after the attack",
)


class HeardNote(NamedTuple):
    """What is heard of one note: cues of contact, and its attack."""

    cues: Cues
    attack: Attack


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
    heard = hear_notes(recordings, guitar, notes, fits)
    measures = [_NOT_TOLD] * len(notes)
    told = [(i, sound) for i, sound in enumerate(heard) if sound is not None]
    all_cues = [sound.cues for _, sound in told]
    places = [Place(notes[i].recording, notes[i].string, notes[i].fret) for i, _ in told]
    attacks = [sound.attack for _, sound in told]
    figures = np.array([attack.figures for attack in attacks])
    contact = contact_probabilities(all_cues, places, figures)
    touched = touch_probabilities(attacks, places, contact)
    free = free_parts_db(all_cues, places, contact)
    rests = np.array([_rests(guitar, notes[i], fits[i], offset_cents) for i, _ in told], np.bool_)
    contact = np.where(rests, np.maximum(contact, _RESTING), contact)
    levels = buzz_levels_db(
        all_cues,
        contact=contact,
        free_db=free,
        rests=rests,
        tops_hz=(PARTS_HZ[-1], _AMP_TOP_HZ),
    )
    for (i, sound), probability, (whole, amp), touch in zip(
        told, contact.tolist(), levels.tolist(), touched.tolist(), strict=True
    ):
        measures[i] = BuzzMeasure(
            buzz_db=whole,
            buzz_amp_db=amp,
            contact=probability,
            contact_until_s=_contact_until(sound.cues) if probability >= LIKELY else None,
            reason="",
            attack_contact=None if np.isnan(touch) else touch,
        )
    return tuple(measures)


def hear_notes(
    recordings: Sequence[Recording],
    guitar: Guitar,
    notes: Sequence[Note],
    fits: Sequence[PartialFit | None],
) -> list[HeardNote | None]:
    """Return what is heard of each note, None where it is too short.

    Parameters are those of `measure_buzz`.
    """
    heard: list[HeardNote | None] = [None] * len(notes)
    for index, recording in enumerate(recordings):
        mine = [i for i, note in enumerate(notes) if note.recording == index]
        if not mine:
            continue
        in_time = sorted((notes[i] for i in mine), key=lambda note: note.onset_s)
        noise = measure_noise_floor(recording, in_time)
        rate = recording.sample_rate_hz
        for i in mine:
            note = notes[i]
            after = recording.read(round(note.onset_s * rate), round(note.end_s * rate))
            fit, first_hz = fits[i], _sounding_hz(guitar, note, fits[i])
            cues = hear_cues(after, sample_rate_hz=rate, first_partial_hz=first_hz, noise=noise)
            if cues is None:
                continue
            attack = hear_attack(
                after,
                sample_rate_hz=rate,
                first_partial_hz=first_hz,
                inharmonicity=None if fit is None else fit.inharmonicity,
            )
            heard[i] = HeardNote(cues, attack)
    return heard


def _sounding_hz(guitar: Guitar, note: Note, fit: PartialFit | None) -> float:
    """Return the first partial that sounds: as fitted, as heard, or as the place has it."""
    if fit is not None:
        return fit.pitch_hz
    return note.pitch_hz or guitar.pitch_hz(note.string, note.fret)


def _rests(guitar: Guitar, note: Note, fit: PartialFit | None, offset_cents: float) -> bool:
    """Return whether the note sounds at least a fret above the one that is held."""
    sounding = _sounding_hz(guitar, note, fit)
    sharp = hz_to_cents(sounding, guitar.pitch_hz(note.string, note.fret)) - offset_cents
    return sharp > NEXT_FRET_CENTS


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
