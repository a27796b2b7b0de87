"""Measures all notes of a scan, one after the other.

Conventions
-----------
Each note is read from a little before its onset to its end: once to measure it and once, beside all
others, to hear whether it strikes. Nothing of it is kept, but for the few notes of a recording that
tell of its room before all are measured.

Limits
------
What a warning of the recording spoils is withheld, with the warning as the reason.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.measures.buzz import LIKELY, measure_buzz
from buzzscan.measures.decay import decay_of_first_partial
from buzzscan.measures.first_partial import Followed, follow_first_partial
from buzzscan.measures.level import DecayTimes, attack_level_dbfs, decay_times, frame_levels
from buzzscan.measures.level_slope import START_S, DecayFit, fit_level_slope
from buzzscan.measures.measured import BuzzMeasure, MeasuredNote
from buzzscan.measures.pitch import HeardString, Pitch, hear_string, settled_pitch
from buzzscan.measures.slow_beats import room_of_take
from buzzscan.measures.tracking import Track
from buzzscan.notes.note import Note
from buzzscan.notes.placing import NEAR_CENTS
from buzzscan.partials import PartialFit
from buzzscan.recording import Recording, Samples
from buzzscan.units import hz_to_cents, rate_to_t60

__all__ = ["measure_notes", "offset_of"]

FloatArray = npt.NDArray[np.float64]

_BEFORE_S = 0.03
_END_MARGIN_S = 0.015
_NOTES_FOR_ROOM = 16
"""Each says for or against a room by two to five nats, so these are sure."""
_ENOUGH_CLEAR = 8
"""So many notes that ring clear tell where the instrument lies."""
_SURELY = 0.9
"""Contact from which a note counts however softly it was picked. A string that is pushed against a
fret as it is picked gets no further: its note is quiet and strikes (on own simulated takes, of 130
notes picked softly 6 are told as surely as this, all of them struck)."""
_UNHEARD = "no string is heard at this pitch"
_DECAYS = ("decay_db_per_s", "whole_decay_db_per_s", "edt_s", "t20_s", "t30_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard:
    """One note's samples, its onset within them, and what is heard of its string."""

    samples: Samples
    onset: int
    stop_s: float
    string: HeardString | None
    followed: Followed


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sound:
    """What one note's samples tell."""

    fit: PartialFit | None
    pitch: Pitch
    decay: DecayFit
    whole: DecayFit
    times: DecayTimes
    attack_dbfs: float


def measure_notes(
    recordings: Sequence[Recording],
    guitar: Guitar,
    notes: Sequence[Note],
    *,
    offset_cents: float = 0.0,
    progress: Callable[[float], None] | None = None,
) -> tuple[MeasuredNote, ...]:
    """Return every note with what was measured of it, in the order given.

    Parameters
    ----------
    recordings
        `Note.recording` indexes them.
    guitar
        The instrument the notes were placed on.
    notes
        As found.
    offset_cents
        How far the instrument as a whole lies from its nominal pitch, as the notes were found.
    progress
        Called with the share done, 0–1.
    """
    some = {
        i: _heard(recordings[notes[i].recording], guitar, notes[i])
        for i in _some_of_each(notes, len(recordings))
    }
    rooms = [
        _room([sound for i, sound in some.items() if notes[i].recording == k])
        for k in range(len(recordings))
    ]
    sounds = []
    for i, note in enumerate(notes):
        recording = recordings[note.recording]
        sound = some.pop(i, None) or _heard(recording, guitar, note)
        sounds.append(_listen(recording, sound, rooms[note.recording]))
        if progress is not None:
            progress((i + 1) / len(notes))
    buzzes = measure_buzz(
        recordings, guitar, notes, [sound.fit for sound in sounds], offset_cents=offset_cents
    )
    return tuple(
        _measured(recordings[note.recording], guitar, note, sound, buzz)
        for note, sound, buzz in zip(notes, sounds, buzzes, strict=True)
    )


def offset_of(notes: Iterable[MeasuredNote], *, near_cents: float) -> float:
    """Return how far the instrument as a whole lies from its nominal pitch, in cents.

    By what its strings settle at: as they are found, right after the pick, those that are dug into
    are some cents sharp, and every note would be called flat against that. Strings that go on
    striking frets sound sharp as well, and count only where few others do.

    Parameters
    ----------
    near_cents
        The same as the notes were found.
    """
    near = [
        (n.cents, (n.contact or 0.0) < LIKELY)
        for n in notes
        if n.judged and n.cents is not None and abs(n.cents - near_cents) < NEAR_CENTS
    ]
    clear = [cents for cents, rings in near if rings]
    told = clear if len(clear) >= _ENOUGH_CLEAR else [cents for cents, _ in near]
    return float(np.median(told)) if told else near_cents


def _some_of_each(notes: Sequence[Note], n_recordings: int) -> list[int]:
    """Return which notes to ask for the room of their recording: spread over all it has."""
    some = []
    for k in range(n_recordings):
        own = [i for i, note in enumerate(notes) if note.recording == k]
        some.extend(own[:: max(len(own) // _NOTES_FOR_ROOM, 1)])
    return some


def _room(sounds: Sequence[_Heard]) -> FloatArray | None:
    """Return what some notes of a recording say of its room, None where none says anything."""
    falls = (decay_of_first_partial(sound.followed) for sound in sounds)
    odds = [fall.seen.early_log_odds for fall in falls if fall.seen is not None]
    return room_of_take(odds) if odds else None


def _heard(recording: Recording, guitar: Guitar, note: Note) -> _Heard:
    rate = recording.sample_rate_hz
    onset = round(note.onset_s * rate)
    start = max(onset - round(_BEFORE_S * rate), 0)
    samples = recording.read(start, round(note.end_s * rate))
    after = samples[onset - start :]
    length_s = len(after) / rate
    heard = hear_string(
        after,
        sample_rate_hz=rate,
        placed_hz=guitar.pitch_hz(note.string, note.fret),
        heard_hz=note.pitch_hz,
    )
    stop_s = length_s - _END_MARGIN_S
    return _Heard(
        samples=samples,
        onset=onset - start,
        stop_s=stop_s,
        string=heard,
        followed=_follow(after, heard, rate, stop_s),
    )


def _listen(recording: Recording, sound: _Heard, room: FloatArray | None) -> _Sound:
    rate = recording.sample_rate_hz
    heard, followed, stop_s = sound.string, sound.followed, sound.stop_s
    after = sound.samples[sound.onset :]
    levels = frame_levels(sound.samples, sample_rate_hz=rate, onset_s=sound.onset / rate)
    late = (levels.times_s > START_S) & (levels.times_s < stop_s)
    decay = decay_of_first_partial(followed, room=room)
    return _Sound(
        fit=heard.fit if heard else None,
        pitch=_pitch(after, heard, rate, decay, None if followed.reason else followed.track),
        decay=decay,
        whole=fit_level_slope(
            levels.times_s[late],
            levels.powers[late],
            noise=10.0 ** (recording.noise_dbfs / 10.0),
            frames_per_independent=1.0,
        ),
        times=decay_times(levels, noise_dbfs=recording.noise_dbfs, stop_s=stop_s),
        attack_dbfs=attack_level_dbfs(levels),
    )


def _follow(after: Samples, heard: HeardString | None, rate: int, stop_s: float) -> Followed:
    if heard is None:
        return Followed(track=None, reason=_UNHEARD)
    return follow_first_partial(after, heard.fit, sample_rate_hz=rate, stop_s=stop_s)


def _pitch(
    after: Samples, heard: HeardString | None, rate: int, decay: DecayFit, track: Track | None
) -> Pitch:
    if heard is None:
        return Pitch(hz=None, error_cents=None, reason=_UNHEARD)
    return settled_pitch(
        after, heard, sample_rate_hz=rate, decay_db_per_s=decay.rate_db_per_s, track=track
    )


def _measured(
    recording: Recording, guitar: Guitar, note: Note, sound: _Sound, buzz: BuzzMeasure
) -> MeasuredNote:
    values: dict[str, float | None] = {
        "decay_db_per_s": sound.decay.rate_db_per_s,
        "whole_decay_db_per_s": sound.whole.rate_db_per_s,
        "edt_s": sound.times.edt_s,
        "t20_s": sound.times.t20_s,
        "t30_s": sound.times.t30_s,
        "buzz_db": buzz.buzz_db,
        "contact": buzz.contact,
        "pitch_hz": sound.pitch.hz,
        "glide_cents": sound.pitch.glide_cents,
        "inharmonicity": sound.fit.inharmonicity if sound.fit else None,
    }
    reasons = {
        **dict(sound.times.withheld),
        "decay_db_per_s": sound.decay.reason,
        "whole_decay_db_per_s": sound.whole.reason,
        "buzz_db": buzz.reason,
        "contact": buzz.reason,
        "pitch_hz": sound.pitch.reason,
        "glide_cents": "too few partials, or too short, to see the pitch settle",
        "inharmonicity": sound.fit.reason if sound.fit else _UNHEARD,
    }
    spoilt = _spoilt(recording)
    for name, reason in spoilt.items():
        values[name], reasons[name] = None, reason
    seen = None if "decay_db_per_s" in spoilt else sound.decay.seen
    pitch, rate = values["pitch_hz"], values["decay_db_per_s"]
    place_hz = guitar.pitch_hz(note.string, note.fret)
    softly = note.faults == ("picked softly",)
    strikes = softly and (values["contact"] or 0.0) >= _SURELY
    return MeasuredNote(
        note=note,
        pitch_hz=pitch,
        cents=None if pitch is None else hz_to_cents(pitch, place_hz),
        pitch_error_cents=None if pitch is None else sound.pitch.error_cents,
        glide_cents=values["glide_cents"],
        inharmonicity=values["inharmonicity"],
        attack_dbfs=sound.attack_dbfs,
        decay_db_per_s=rate,
        decay_low_db_per_s=None if rate is None else sound.decay.low_db_per_s,
        decay_high_db_per_s=None if rate is None else sound.decay.high_db_per_s,
        t60_s=None if rate is None else rate_to_t60(rate),
        whole_decay_db_per_s=values["whole_decay_db_per_s"],
        edt_s=values["edt_s"],
        t20_s=values["t20_s"],
        t30_s=values["t30_s"],
        buzz_db=values["buzz_db"],
        buzz_amp_db=None if values["buzz_db"] is None else buzz.buzz_amp_db,
        contact=values["contact"],
        contact_until_s=None if values["contact"] is None else buzz.contact_until_s,
        judged=note.judged or strikes,
        reason="" if strikes else note.reason,
        withheld=tuple(
            (name, reasons[name]) for name, value in sorted(values.items()) if value is None
        ),
        seen_decay_db_per_s=None if seen is None else seen.rate_db_per_s,
        seen_decay_error_db_per_s=None if seen is None else seen.error_db_per_s,
        seen_room_db=None if seen is None else seen.room_db,
        attack_contact=None if values["contact"] is None else buzz.attack_contact,
    )


def _spoilt(recording: Recording) -> dict[str, str]:
    """Return the measures that warnings of the recording spoil, with the reasons."""
    spoilt: dict[str, str] = {}
    for warning in recording.warnings:
        for name in warning.spoils:
            for one in _DECAYS if name == "decay_db_per_s" else (name,):
                spoilt.setdefault(one, warning.message)
    return spoilt
