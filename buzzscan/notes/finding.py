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
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.errors import AnalysisError
from buzzscan.guitar import Guitar
from buzzscan.notes.evidence import place_evidence
from buzzscan.notes.hearing import Heard, listen
from buzzscan.notes.moves import STYLES, States, move_costs, start_costs, states_of
from buzzscan.notes.note import FoundNotes, Note
from buzzscan.notes.path import Clues, Path, best_path
from buzzscan.notes.proof import note_odds, weeded
from buzzscan.notes.strings import assumed_strings, learnt_strings, string_costs
from buzzscan.recording import Recording

__all__ = ["find_notes"]

FloatArray = npt.NDArray[np.float64]

_ODDS_NATS = 10.0
_ROUNDS = 3
_LEAST_NOTES = 4
_LISTENING_SHARE = 0.9


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
    heard = []
    for k, recording in enumerate(recordings):

        def tell(share: float, k: int = k) -> None:
            if progress is not None:
                progress(_LISTENING_SHARE * (k + share) / len(recordings))

        heard.append(weeded(listen(recording, progress=tell), recording.sample_rate_hz))
    used = guitar if guitar is not None else Guitar()
    notes: list[Note] = []
    for k, (recording, one) in enumerate(zip(recordings, heard, strict=True)):
        placed = _place(one, used)
        notes.extend(_notes_of(k, recording, one, placed, len(notes)))
    if len(notes) < _LEAST_NOTES:
        raise AnalysisError(
            f"no run over the neck found: {len(notes)} notes, need {_LEAST_NOTES}; "
            "record a chromatic run, one note at a time"
        )
    if progress is not None:
        progress(1.0)
    return FoundNotes(
        notes=tuple(notes),
        guitar=used,
        tuning_found=False,
        offset_cents=0.0,
        remarks=(),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Placed:
    path: Path
    states: States


def _place(heard: Heard, guitar: Guitar) -> _Placed:
    states = states_of(guitar)
    odds = note_odds(heard)
    best: Path | None = None
    least = np.inf
    offset = _offset_cents(heard, odds, guitar)
    assumed = assumed_strings(guitar, offset)
    for style in STYLES:
        moves, start = move_costs(states, style), start_costs(states, style)
        strings = assumed
        for _ in range(_ROUNDS):
            evidence = place_evidence(heard, states, strings, guitar.a4_hz)
            clues = Clues(
                evidence=evidence,
                take=_ODDS_NATS * (1.0 - odds),
                skip=_ODDS_NATS * odds,
                ln_b=np.log(heard.b),
                ln_b_sd=np.minimum(heard.b_sd / heard.b, 3.0),
            )
            path = best_path(clues, states, start, moves)
            at = path.states
            strings = learnt_strings(
                heard, guitar, path.rows, states.string[at], states.fret[at], offset_cents=offset
            )
            cost = path.cost + string_costs(strings, assumed, states.string[at])
        if cost < least:
            best, least = path, cost
    if best is None:
        raise AnalysisError("no way of playing to compare with")
    return _Placed(path=best, states=states)


def _offset_cents(heard: Heard, odds: FloatArray, guitar: Guitar) -> float:
    midi = 69.0 + 12.0 * np.log2(heard.pitch_hz / guitar.a4_hz)
    turn = np.sum(odds * np.exp(2j * np.pi * midi))
    return float(100.0 * np.angle(turn) / (2.0 * np.pi))


def _notes_of(
    index: int, recording: Recording, heard: Heard, placed: _Placed, n_before: int
) -> list[Note]:
    rate = recording.sample_rate_hz
    rows, states = placed.path.rows, placed.states
    ends = np.append(heard.onset[rows][1:], recording.n_samples) / rate
    out = []
    for k, (row, state) in enumerate(zip(rows, placed.path.states, strict=True)):
        out.append(
            Note(
                id=n_before + k + 1,
                recording=index,
                string=int(states.string[state]),
                fret=int(states.fret[state]),
                direction="up" if states.direction[state] > 0 else "down",
                onset_s=float(heard.onset[row] / rate),
                end_s=float(ends[k]),
                pitch_hz=float(heard.pitch_hz[row]),
                placed=1.0,
                judged=True,
                reason="",
            )
        )
    return out
