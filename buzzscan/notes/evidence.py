"""What each candidate says about each place on the neck.

Conventions
-----------
Evidence is in nats, 0 at best, per candidate and place (string, fret). Offsets and stiffness of
the strings are learnt from the take itself and held in `Strings`.

Limits
------
Inharmonicity tells strings apart only where at least three partials are heard.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from buzzscan.notes.hearing import Heard
from buzzscan.notes.moves import States
from buzzscan.notes.proof import note_odds
from buzzscan.notes.spectra import PITCHES_HZ
from buzzscan.notes.strings import LN_B_PER_FRET, Strings

__all__ = ["place_evidence"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

_SCORE_NATS = 12.0
"""Nats between the best pitch and one that explains nothing."""
_REACH_CENTS = 45.0
_CENTS_CAP, _LN_B_CAP = 6.0, 2.0
_LN_B_SD, _B_ERROR_TIMES = 0.25, 2.0
"""Spread of ln B beyond the error of its measurement, and that error over what the fit to the
partials says of it: few partials say little of it, and what makes B err (a room, a second
polarisation, a rattle) is the same in a string's other notes."""
_OTHER_PITCH = 3.0
"""Where another pitch explains the candidate best, though this one does too."""
_CHOKE, _CHOKE_PER_FRET = 3.3, 0.25
_UNCLEAR, _UNCLEAR_DOUBT = 9.0, 3.5
_SHARP_CENTS, _SHARP_STRAIGHT, _SHARP = (12.5, 87.5), 2.0, 3.0
"""A string that keeps striking a fret turns back early: it sounds up to most of a semitone sharp
while it does, and its partials lie straight, locked to the strikes. Nats for such a pitch, with
straight partials and without."""
_STRAIGHT_SHARE = 0.4
"""B under this share of what the place should have is straight."""
_LOWEST_MIDI = 69.0 + 12.0 * float(np.log2(PITCHES_HZ[0] / 440.0))


def place_evidence(heard: Heard, states: States, strings: Strings, a4_hz: float) -> FloatArray:
    """Return evidence for each place, shape (candidates, places), choked and rattling ones too.

    Parameters
    ----------
    heard
        Candidates.
    states
        Of the guitar; only the first half (the places) is used.
    strings
        What is known of the strings.
    a4_hz
        Frequency of A4.
    """
    sounded = _sounded(heard, states, strings, a4_hz)
    sounded = np.maximum(sounded, _rattling(heard, states, strings, a4_hz))
    fret = states.fret[: sounded.shape[1]]
    out = sounded.copy()
    for k in range(1, states.top - states.lowest + 1):
        # Places run fret by fret along a string, so k frets higher is k columns on.
        ok = fret + k <= states.top
        cost = _CHOKE + _CHOKE_PER_FRET * k
        columns = np.flatnonzero(ok)
        out[:, columns] = np.maximum(out[:, columns], sounded[:, columns + k] - cost)
        if cost > _UNCLEAR:
            break
    unclear = np.where(note_odds(heard) < 0.5, _UNCLEAR_DOUBT, _UNCLEAR)
    return np.maximum(out, -unclear[:, None])


def _sounded(heard: Heard, states: States, strings: Strings, a4_hz: float) -> FloatArray:
    """Return evidence for each place sounding its own pitch."""
    n = len(states.string) // 2
    string, pitch = states.string[:n], states.pitch[:n]
    nearest, off = _expected(heard, string, pitch, strings, a4_hz=a4_hz)
    reach = round(_REACH_CENTS / 12.5)
    score = np.full((len(heard.onset), len(string)), -1.0)
    for k in range(-reach, reach + 1):
        index = np.clip(nearest + k, 0, heard.scores.shape[1] - 1)
        # A pitch further off is worth less, but a string a little out of tune loses nothing.
        loss = 0.5 * (12.5 * k / 30.0) ** 2 / _SCORE_NATS
        score = np.maximum(score, heard.scores[:, index] - loss)
    evidence = _SCORE_NATS * (np.clip(score, 0.0, 1.0) - 1.0)
    fits = np.abs(off) < 2 * _REACH_CENTS
    z = off / strings.cents_sd[string]
    stiff = _stiffness_off(heard, states, strings)
    misfit = _misfit(z, _CENTS_CAP) + _misfit(stiff, _LN_B_CAP)
    evidence -= np.where(fits, misfit, _OTHER_PITCH)
    return np.asarray(evidence, np.float64)


def _stiffness_off(heard: Heard, states: States, strings: Strings) -> FloatArray:
    """Return by how many standard errors each candidate's B is off what each place should have.

    Strings differ by factors and errors of measurement add, so the smaller of the two readings
    holds: a B that cannot be told from 0 fits any string that is as hard to tell, and where nothing
    is known of a string yet, only too large a B speaks against it. Partials that are locked to the
    strikes on a fret speak for no string and against none.
    """
    n = len(states.string) // 2
    string, fret = states.string[:n], states.fret[:n]
    ln_b = strings.ln_b[string] + LN_B_PER_FRET * fret
    should, heard_b = np.exp(ln_b), heard.b[:, None]
    error = _B_ERROR_TIMES * heard.b_sd[:, None]
    spread = np.hypot(_LN_B_SD, strings.ln_b_sd[string])
    of_factor = np.log(heard_b / should) / np.hypot(error / np.maximum(heard_b, should), spread)
    of_sum = (heard_b - should) / np.hypot(error, should * np.minimum(spread, 1.0))
    off = np.minimum(np.abs(of_factor), np.abs(of_sum))
    return np.where(heard.locked[:, None], 0.0, off)


def _rattling(heard: Heard, states: States, strings: Strings, a4_hz: float) -> FloatArray:
    """Return evidence for each place sounding sharp because the string keeps striking a fret."""
    n = len(states.string) // 2
    string, fret, pitch = states.string[:n], states.fret[:n], states.pitch[:n]
    nearest, off = _expected(heard, string, pitch, strings, a4_hz=a4_hz)
    low, high = (round(cents / 12.5) for cents in _SHARP_CENTS)
    last = heard.scores.shape[1] - 1
    columns = [np.clip(nearest + k, 0, last) for k in range(low, high + 1)]
    score = np.max([heard.scores[:, c] for c in columns], axis=0)
    sharp = (off > _SHARP_CENTS[0]) & (off < _SHARP_CENTS[1])
    expected = np.exp(strings.ln_b[string] + LN_B_PER_FRET * fret)
    straight = (heard.b + heard.b_sd)[:, None] < _STRAIGHT_SHARE * expected
    cost = np.where(sharp, np.where(straight, _SHARP_STRAIGHT, _SHARP), np.inf)
    return np.asarray(_SCORE_NATS * (np.clip(score, 0.0, 1.0) - 1.0) - cost, np.float64)


def _expected(
    heard: Heard, string: IntArray, pitch: FloatArray, strings: Strings, *, a4_hz: float
) -> tuple[IntArray, FloatArray]:
    """Return the score that each place's own pitch has, and how many cents above it is heard."""
    midi = pitch + 12.0 * np.log2(a4_hz / 440.0) + strings.cents[string] / 100.0
    nearest = np.round((midi - _LOWEST_MIDI) * 8.0).astype(np.intp)
    return nearest, np.asarray(100.0 * (heard.midi(440.0)[:, None] - midi), np.float64)


def _misfit(z: FloatArray, cap: float) -> FloatArray:
    """Return the cost of a miss of z standard errors; within one, all strings are alike."""
    return np.clip(0.5 * (z * z - 1.0), 0.0, cap)
