"""Listening: one pass over a recording that returns everything that may be a note.

Conventions
-----------
`Heard` holds one row per candidate, in time order. Times are samples into the recording.

Limits
------
Blocks of `BLOCK_S` are read once, in order; what is kept grows with the candidates.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from buzzscan.notes.attack import cut_out, refine
from buzzscan.notes.frames import FrameGrid, band_levels, frame_grid, rises
from buzzscan.notes.partials import CandidateFits, fit_candidates
from buzzscan.notes.spectra import PITCHES_HZ, Spectra, pitch_scores, spectra_around
from buzzscan.notes.tones import follow_tones
from buzzscan.recording import Recording, Samples

__all__ = ["LEAST_STRING_B", "POWER_STEP_S", "Heard", "listen", "power_step_samples", "select"]

FloatArray = npt.NDArray[np.float64]

_BLOCK_S = 30.0
_MARGIN_S = 1.0
"""Read again on either side of a block, so that its edges cut no note's beginning."""
_AT_ONCE = 64
"""Candidates looked at together: noise is full of them, and each takes half a megabyte."""
_APART_S = 0.015
"""Two candidates nearer than this are one attack found twice."""


POWER_STEP_S = 0.005
"""Step at which the power of the waveform is kept, to tell where notes end."""
_ASTRAY_S = 0.012
"""An attack further than this from where the partials begin belongs to something else."""
LEAST_STRING_B = 7e-6
"""No string has less: the thinnest of a guitar, 0.20 mm of steel, has 9e-6
when it is open (π³·E·d⁴/(64·T·L²), as in `buzzscan.notes.strings`)."""
_LEAST_GAIN_DB = 2.0
_PROVED_GAIN_DB = 4.0
"""An attack drowned by a squeak, but shown by its partials, counts as one of this rise."""
_SHARP_GAIN_DB = 21.0
"""No squeak swells by as much within some ms: partials that settle only later were thrown about
by a fret that the string struck at once."""
_LOUD_S = 0.025
_STRIKES_S = 0.12
"""A string is listened to again after this long where it was not clear at first: most of what is
hard picked clears the frets within some ten periods."""
_LEAST_SHARP_DB = 10.0
"""Of an attack that is no strike of a fret within a note."""
_NO_LINE_CENTS, _CLEARER, _LEAST_PARTIALS = 5.0, 0.5, 5
"""Partials this far off their line are heard again; that counts where it halves the distance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What may be notes.

    Parameters
    ----------
    onset
        Samples.
    gain_db
        Rise of the waveform's edge at the onset.
    scores
        From `pitch_scores`, shape (candidates, pitches), −1 to 1. Three digits are enough, and an
        hour of noise holds 50 000 candidates.
    pitch_hz, b, b_sd, n_found, misfit, rise_db, share, whole_share
        From `CandidateFits`, for the best pitch.
    new, tone_rise_db, steady
        From `Tones`.
    level_db
        Level of the strongest partials together, dB re full scale.
    """

    onset: npt.NDArray[np.intp]
    gain_db: FloatArray
    scores: npt.NDArray[np.float16]
    pitch_hz: FloatArray
    b: FloatArray
    b_sd: FloatArray
    n_found: npt.NDArray[np.intp]
    misfit: FloatArray
    rise_db: FloatArray
    share: FloatArray
    whole_share: FloatArray
    new: FloatArray
    tone_rise_db: FloatArray
    steady: FloatArray
    level_db: FloatArray

    def midi(self, a4_hz: float) -> FloatArray:
        """Return the pitches as MIDI numbers, fractions and all, when A4 is at so many Hz."""
        return np.asarray(69.0 + 12.0 * np.log2(self.pitch_hz / a4_hz), np.float64)

    @property
    def locked(self) -> npt.NDArray[np.bool_]:
        """Return which have partials that lie straighter than those of any string.

        So they do while a string keeps striking a fret: they are locked to the strikes, and B says
        nothing of which string it is.
        """
        return np.asarray(self.b + self.b_sd < LEAST_STRING_B, np.bool_)


def power_step_samples(sample_rate_hz: int) -> int:
    """Return the step of the power in samples: the whole number nearest to `POWER_STEP_S`."""
    return round(POWER_STEP_S * sample_rate_hz)


def listen(
    recording: Recording, *, progress: Callable[[float], None] | None = None
) -> tuple[Heard, npt.NDArray[np.float32]]:
    """Return all candidates of a recording, and its power every `POWER_STEP_S`.

    Parameters
    ----------
    recording
        What to listen to.
    progress
        Called with the share done, 0–1.
    """
    rate = recording.sample_rate_hz
    grid = frame_grid(rate)
    block = int(_BLOCK_S * rate) // grid.hop * grid.hop
    margin = int(_MARGIN_S * rate) // grid.hop * grid.hop
    parts, powers = [], []
    step = power_step_samples(rate)
    carried, rest = np.zeros(0, np.float32), np.zeros(0, np.float32)
    carried_from = start = 0
    while start < recording.n_samples:
        stop = min(start + block + margin, recording.n_samples)
        fresh = recording.read(carried_from + len(carried), stop)
        rest = np.concatenate([rest, fresh])
        whole = len(rest) // step * step
        powers.append((rest[:whole].reshape(-1, step) ** 2).mean(axis=1))
        rest = rest[whole:]
        samples = np.concatenate([carried, fresh])
        heard = _listen_block(samples, grid, rate)
        at = heard.onset + carried_from
        end = start + block if stop < recording.n_samples else recording.n_samples
        parts.append(select(heard, (at >= start) & (at < end), shift=carried_from))
        keep = max(end - margin - carried_from, 0)
        carried, carried_from = samples[keep:], carried_from + keep
        start = end
        if progress is not None:
            progress(stop / recording.n_samples)
    if not parts:
        return _nothing(), np.zeros(0, np.float32)
    return _joined(parts), np.concatenate(powers)


def _listen_block(samples: Samples, grid: FrameGrid, rate: int) -> Heard:
    levels = band_levels(samples, grid)
    frames = rises(levels)
    if not len(frames):
        return _nothing()
    onset, gain = refine(samples, rate, frames * grid.hop)
    keep = _apart(onset, _loudness(samples, onset, rate), round(_APART_S * rate))
    onset, gain = onset[keep], gain[keep]
    room = np.diff(onset, append=len(samples))
    to_next = _to_next(onset, gain > _LEAST_SHARP_DB, len(samples))
    parts = [
        _heard_at(samples, rate, onset[at], gain[at], room=room[at], to_next=to_next[at])
        for at in (slice(k, k + _AT_ONCE) for k in range(0, len(onset), _AT_ONCE))
    ]
    return _joined(parts)


def _heard_at(
    samples: Samples,
    rate: int,
    onset: npt.NDArray[np.intp],
    gain: npt.NDArray[np.float32],
    *,
    room: npt.NDArray[np.intp],
    to_next: npt.NDArray[np.intp],
) -> Heard:
    spectra = spectra_around(samples, rate, onset, room)
    scores = pitch_scores(spectra)
    best = PITCHES_HZ[np.argmax(scores, axis=1)]
    fit = fit_candidates(spectra, np.arange(len(onset)), best)
    fit, scores = _once_clear(
        samples, rate, onset, room=to_next, spectra=spectra, fit=fit, scores=scores
    )
    tones = follow_tones(
        samples, rate, onset, room, partials_hz=fit.strong_hz, powers=fit.strong_power
    )
    heard_at = onset
    onset, gain = _settled(samples, rate, onset, gain, tones.begin)
    new = _new_from_the_beginning(
        samples, rate, onset, room=room, fit=fit, new=tones.new, moved=onset < heard_at
    )
    level = 10.0 * np.log10(fit.strong_power.sum(axis=1) + 1e-12)
    return Heard(
        onset=onset,
        gain_db=gain.astype(np.float64),
        scores=np.clip(scores, -1.0, 1.0).astype(np.float16),
        pitch_hz=fit.pitch_hz,
        b=fit.b,
        b_sd=fit.b_sd,
        n_found=fit.n_found,
        misfit=fit.misfit,
        rise_db=fit.rise_db,
        share=fit.share,
        whole_share=fit.whole_share,
        new=new,
        tone_rise_db=tones.rise_db,
        steady=tones.steady,
        level_db=level,
    )


def _to_next(
    onset: npt.NDArray[np.intp], counts: npt.NDArray[np.bool_], stop: int
) -> npt.NDArray[np.intp]:
    """Return the samples from each onset to the next that counts."""
    ends = np.append(onset[counts], stop)
    return ends[np.searchsorted(ends[:-1], onset, side="right")] - onset


def _once_clear(
    samples: Samples,
    rate: int,
    onset: npt.NDArray[np.intp],
    *,
    room: npt.NDArray[np.intp],
    spectra: Spectra,
    fit: CandidateFits,
    scores: npt.NDArray[np.float32],
) -> tuple[CandidateFits, npt.NDArray[np.float32]]:
    """Return fits and scores, taken later on where a string strikes a fret at first.

    While it does, its partials lie on no line and its pitch is no fret's.
    """
    wait = round(_STRIKES_S * rate)
    rows = np.flatnonzero((fit.misfit > _NO_LINE_CENTS) & (room > 2 * wait))
    if not len(rows):
        return fit, scores
    later = spectra_around(samples, rate, onset[rows] + wait, room[rows] - wait)
    # What rang before the pick is what to rise from, not the same note's beginning.
    later = replace(later, before=spectra.before[rows])
    found = pitch_scores(later)
    again = fit_candidates(later, np.arange(len(rows)), PITCHES_HZ[np.argmax(found, axis=1)])
    better = (again.misfit < _CLEARER * fit.misfit[rows]) & (again.n_found >= _LEAST_PARTIALS)
    at = rows[better]
    scores = scores.copy()
    scores[at] = found[better]
    told = {}
    for name in ("pitch_hz", "b", "b_sd", "misfit"):
        values = getattr(fit, name).copy()
        values[at] = getattr(again, name)[better]
        told[name] = values
    return replace(fit, **told), scores


def _nothing() -> Heard:
    empty: dict[str, Any] = {f.name: np.zeros(0) for f in fields(Heard)}
    whole = {"onset": np.zeros(0, np.intp), "n_found": np.zeros(0, np.intp)}
    scores = {"scores": np.zeros((0, len(PITCHES_HZ)), np.float16)}
    return Heard(**(empty | whole | scores))


def _settled(
    samples: Samples,
    rate: int,
    onset: npt.NDArray[np.intp],
    gain: npt.NDArray[np.float32],
    begin: npt.NDArray[np.intp],
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.float32]]:
    """Return onsets, moved to the attack nearest to where the partials begin."""
    onset, gain = onset.copy(), gain.copy()
    astray = np.flatnonzero(np.abs(begin - onset) > _ASTRAY_S * rate)
    moved, rise = refine(samples, rate, begin[astray], reach_s=(_ASTRAY_S, _ASTRAY_S))
    moved = np.where(rise > _LEAST_GAIN_DB, moved, begin[astray])
    stays = (
        (gain[astray] > _SHARP_GAIN_DB) & (rise < _SHARP_GAIN_DB / 2.0) & (moved > onset[astray])
    )
    onset[astray] = np.where(stays, onset[astray], moved)
    gain[astray] = np.where(stays, gain[astray], np.maximum(rise, _PROVED_GAIN_DB))
    return onset, gain


def _new_from_the_beginning(
    samples: Samples,
    rate: int,
    onset: npt.NDArray[np.intp],
    *,
    room: npt.NDArray[np.intp],
    fit: CandidateFits,
    new: FloatArray,
    moved: npt.NDArray[np.bool_],
) -> FloatArray:
    """Return how much of each candidate is new, looked for again where its onset was too late.

    At a click inside a note, by which it was heard, nothing is new any more.
    """
    rows = np.flatnonzero(moved)
    if not len(rows):
        return new
    again = follow_tones(
        samples,
        rate,
        onset[rows],
        room[rows],
        partials_hz=fit.strong_hz[rows],
        powers=fit.strong_power[rows],
    )
    out = new.copy()
    out[rows] = np.maximum(new[rows], again.new)
    return out


def _loudness(samples: Samples, onset: npt.NDArray[np.intp], rate: int) -> npt.NDArray[np.float32]:
    edge = np.diff(cut_out(samples, onset, round(_LOUD_S * rate)), axis=1)
    return np.asarray((edge * edge).mean(axis=1), np.float32)


def _apart(
    onset: npt.NDArray[np.intp], strength: npt.NDArray[np.float32], least: int
) -> npt.NDArray[np.intp]:
    """Return which candidates to keep, the stronger of any two too near each other."""
    kept: list[int] = []
    for i in np.argsort(onset, kind="stable"):
        if kept and onset[i] - onset[kept[-1]] < least:
            if strength[i] > strength[kept[-1]]:
                kept[-1] = int(i)
        else:
            kept.append(int(i))
    return np.array(kept, np.intp)


def select(heard: Heard, keep: npt.NDArray[np.bool_], *, shift: int = 0) -> Heard:
    """Return the rows to keep, their onsets moved by a number of samples."""
    values = {f.name: getattr(heard, f.name)[keep] for f in fields(Heard)}
    values["onset"] = values["onset"] + shift
    return Heard(**values)


def _joined(parts: list[Heard]) -> Heard:
    return Heard(
        **{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Heard)}
    )
