"""From recordings to placed notes.

Conventions
-----------
`find_notes` listens to each recording once, then places what it heard on the neck.

Limits
------
What is no run over the neck is refused, not mapped.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from buzzscan.errors import AnalysisError
from buzzscan.guitar import STANDARD_TUNING, Guitar
from buzzscan.notes.ending import attack_levels, find_endings
from buzzscan.notes.hearing import Heard, listen, power_step_samples, select
from buzzscan.notes.judging import faults_of, place_odds, reason_of
from buzzscan.notes.mistuned import PLAINLY_NATS, total_cost, tuning_doubt
from buzzscan.notes.note import FoundNotes, Note
from buzzscan.notes.placing import Placed, grid_offset_cents, place
from buzzscan.notes.proof import note_odds, weeded
from buzzscan.notes.runs import run_fault
from buzzscan.notes.tuning import frets_reached, tuning_guesses, tuning_nats
from buzzscan.recording import Recording

__all__ = ["find_notes"]

FloatArray = npt.NDArray[np.float64]

_LISTENING_SHARE = 0.9
_LEAST_ODDS = 0.1
"""Candidates below cost more to take than any way over the neck can gain by them."""
_SURE_NOTE = 0.6
_USUAL_FRETS = (22, 24)
"""Necks with more frets than 22 have 24 (common practice, no source)."""
_FEWEST_FRETS, _FEWEST_TOPS, _TOPS_SHARE = 19, 3, 0.6
"""A neck that nobody described ends at the fret where the runs do, if it is this one or higher and
so many of its strings, and this share of those played, turn there: many have 19 to 21 frets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Take:
    """One recording, listened to."""

    recording: Recording
    heard: Heard
    power: npt.NDArray[np.float32]


def find_notes(
    recordings: Sequence[Recording],
    guitar: Guitar | None,
    *,
    progress: Callable[[float], None] | None = None,
) -> FoundNotes:
    """Return every note of the run with its time and place.

    Parameters
    ----------
    recordings
        One or more recordings of one instrument.
    guitar
        The instrument, or None to find its tuning from the recordings.
    progress
        Called with the share done, 0–1.

    Raises
    ------
    AnalysisError
        If no run over the neck is found.
    """
    if not recordings:
        raise AnalysisError("no recording given; need at least one")
    takes = []
    for k, recording in enumerate(recordings):

        def tell(share: float, k: int = k) -> None:
            if progress is not None:
                progress(_LISTENING_SHARE * (k + share) / len(recordings))

        takes.append(_listened(recording, tell))
    used, all_placed, remarks = _instrument(takes, guitar)
    notes, offset, faults = _runs(takes, all_placed, used)
    if not notes:
        raise AnalysisError(
            "no run over the neck found ("
            + "; ".join(faults)
            + "); record a chromatic run, one note at a time, "
            "and check the tuning in the guitar file"
        )
    remarks.extend(f"passed over: {fault}" for fault in faults)
    if progress is not None:
        progress(1.0)
    return FoundNotes(
        notes=tuple(notes),
        guitar=used,
        tuning_found=guitar is None,
        offset_cents=offset,
        remarks=tuple(remarks),
    )


def _runs(
    takes: Sequence[_Take], all_placed: Sequence[Placed | None], guitar: Guitar
) -> tuple[list[Note], float, list[str]]:
    """Return the notes of all takes that hold a run, their offset, and why others hold none."""
    notes: list[Note] = []
    faults: list[str] = []
    offsets: list[tuple[float, int]] = []
    for k, (take, placed) in enumerate(zip(takes, all_placed, strict=True)):
        fault = (
            "no picked note was heard" if placed is None else run_fault(take.heard, placed, guitar)
        )
        if placed is None or fault:
            faults.append(f"{take.recording.name}: {fault}")
            continue
        notes.extend(_notes_of(k, take, placed, len(notes)))
        offsets.append((placed.offset_cents, len(placed.path.rows)))
    if not notes:
        return [], 0.0, faults
    offset = np.average([o for o, _ in offsets], weights=[n for _, n in offsets])
    return notes, float(offset), faults


def _listened(recording: Recording, tell: Callable[[float], None]) -> _Take:
    heard, power = listen(recording, progress=tell)
    heard = weeded(heard, recording.sample_rate_hz)
    heard = select(heard, note_odds(heard) >= _LEAST_ODDS)
    return _Take(recording=recording, heard=heard, power=power)


def _instrument(
    takes: list[_Take], guitar: Guitar | None
) -> tuple[Guitar, list[Placed | None], list[str]]:
    """Return the instrument, every take placed on it, and what to say about it."""
    midi = _sure_pitches(takes, (guitar or Guitar()).a4_hz)
    if guitar is not None:
        used, placed = _on_its_frets(takes, midi, guitar, usual=())
        doubt = tuning_doubt([take.heard for take in takes], midi, used, placed)
        remarks = [doubt] if doubt else []
        if used.frets > guitar.frets:
            remarks.append(
                f"the run goes up to fret {used.frets}, beyond the {guitar.frets} of the guitar "
                f"file (22 where it names none): {used.frets} taken"
            )
        return used, placed, remarks
    if not len(midi):
        return Guitar(), [None] * len(takes), []
    tried = [
        _on_its_frets(takes, midi, guess, usual=_USUAL_FRETS) for guess in tuning_guesses(midi)
    ]
    found, placed = min(tried, key=lambda one: tuning_nats(one[0], midi) + total_cost(one[1]))
    found, placed = _ended(takes, found, placed)
    words = " ".join(found.tuning)
    remark = (
        f"no guitar file: the recording fits standard tuning ({words}), {found.frets} frets taken"
        if found.tuning == STANDARD_TUNING
        else f"no guitar file: tuning {words} found from the recording, {found.frets} frets taken"
    )
    return found, placed, [remark]


def _ended(
    takes: list[_Take], guitar: Guitar, placed: list[Placed | None]
) -> tuple[Guitar, list[Placed | None]]:
    """Return an instrument that nobody described, with no more frets than its runs go up to."""
    tops: dict[int, int] = {}
    for one in placed:
        if one is not None:
            at = one.path.states
            for string, fret in zip(one.states.string[at], one.states.fret[at], strict=True):
                tops[int(string)] = max(tops.get(int(string), 0), int(fret))
    top = max(tops.values(), default=guitar.frets)
    turning = sum(fret == top for fret in tops.values())
    few = turning < max(_FEWEST_TOPS, _TOPS_SHARE * len(tops))
    if few or not _FEWEST_FRETS <= top < _USUAL_FRETS[0]:
        return guitar, placed
    ended = replace(guitar, frets=top)
    return ended, _placed_on(takes, ended)


def _sure_pitches(takes: list[_Take], a4_hz: float) -> FloatArray:
    """Return the pitches of all likely notes in order, as MIDI numbers on the instrument's grid."""
    midi = [np.zeros(0)]
    for take in takes:
        sure = note_odds(take.heard) > _SURE_NOTE
        if sure.any():
            offset = grid_offset_cents(take.heard, a4_hz)
            midi.append(take.heard.midi(a4_hz)[sure] - offset / 100.0)
    return np.concatenate(midi)


def _on_its_frets(
    takes: list[_Take], midi: FloatArray, guitar: Guitar, *, usual: tuple[int, ...]
) -> tuple[Guitar, list[Placed | None]]:
    """Return the instrument with every take placed on it.

    It has more frets than it came with where a run reaches for them and then fits plainly better:
    on too short a neck the notes at its end are taken for others, and others for them.

    Parameters
    ----------
    usual
        Numbers of frets of which the next one is taken, in order; as many as are reached if none.
    """
    placed = _placed_on(takes, guitar)
    reached = frets_reached(midi, guitar)
    if reached <= guitar.frets:
        return guitar, placed
    more = replace(guitar, frets=next((n for n in usual if n >= reached), reached))
    again = _placed_on(takes, more)
    gain = total_cost(placed) - total_cost(again)
    return (more, again) if gain > PLAINLY_NATS else (guitar, placed)


def _placed_on(takes: list[_Take], guitar: Guitar) -> list[Placed | None]:
    return [place(take.heard, guitar) if len(take.heard.onset) else None for take in takes]


def _notes_of(index: int, take: _Take, placed: Placed, n_before: int) -> list[Note]:
    rate = take.recording.sample_rate_hz
    rows, at, states = placed.path.rows, placed.path.states, placed.states
    onsets_s = take.heard.onset[rows] / rate
    step_s = power_step_samples(rate) / rate
    endings = find_endings(
        take.power,
        onsets_s,
        duration_s=take.recording.duration_s,
        noise_dbfs=take.recording.noise_dbfs,
        step_s=step_s,
    )
    attack_db = attack_levels(take.power, onsets_s, step_s=step_s)
    odds = place_odds(placed)
    wrong = faults_of(take.heard, placed, endings, onsets_s, attack_db=attack_db, odds=odds)
    return [
        Note(
            id=n_before + k + 1,
            recording=index,
            string=int(states.string[state]),
            fret=int(states.fret[state]),
            direction="up" if states.direction[state] > 0 else "down",
            onset_s=float(onsets_s[k]),
            end_s=endings[k].end_s,
            pitch_hz=float(take.heard.pitch_hz[row]) if take.heard.n_found[row] >= 2 else None,
            placed=float(odds[k]),
            judged=not wrong[k],
            reason=reason_of(wrong[k]),
            faults=tuple(fault.kind for fault in wrong[k]),
        )
        for k, (row, state) in enumerate(zip(rows, at, strict=True))
    ]
