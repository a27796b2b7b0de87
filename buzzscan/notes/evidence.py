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

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.guitar import Guitar
from buzzscan.notes.hearing import Heard
from buzzscan.notes.moves import States
from buzzscan.notes.proof import note_odds
from buzzscan.notes.spectra import PITCHES_HZ

__all__ = ["LN_B_PER_FRET", "Strings", "learn", "unknown_strings", "place_evidence"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

LN_B_PER_FRET = float(np.log(2.0) / 6.0)
"""B goes with 1/L² and L with 2^(-fret/12)."""
_SCORE_NATS = 12.0
"""Nats between the best pitch and one that explains nothing."""
_REACH_CENTS = 45.0
_CENTS_SD_UNKNOWN, _CENTS_SD = 25.0, 9.0
_CENTS_CAP, _LN_B_CAP = 4.0, 4.5
_LN_B_SD = 0.2
_LN_B_PRIOR, _LN_B_UNKNOWN_SD = float(np.log(8e-5)), 30.0
"""So wide that a string of unknown stiffness gives no evidence."""
_CHOKE, _CHOKE_PER_FRET = 3.3, 0.25
_UNCLEAR, _UNCLEAR_DOUBT = 9.0, 3.5
_LOWEST_MIDI = 69.0 + 12.0 * float(np.log2(PITCHES_HZ[0] / 440.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Strings:
    """What is known of each string, indexed by string number (entry 0 unused).

    Parameters
    ----------
    cents, cents_sd
        How far the string lies from nominal, and the spread to allow.
    ln_b, ln_b_sd
        ln B of the open string, and its uncertainty.
    """

    cents: FloatArray
    cents_sd: FloatArray
    ln_b: FloatArray
    ln_b_sd: FloatArray


def unknown_strings(guitar: Guitar, offset_cents: float) -> Strings:
    """Return what is known before anything was placed."""
    n = guitar.n_strings + 1
    return Strings(
        cents=np.full(n, offset_cents),
        cents_sd=np.full(n, _CENTS_SD_UNKNOWN),
        ln_b=np.full(n, _LN_B_PRIOR),
        ln_b_sd=np.full(n, _LN_B_UNKNOWN_SD),
    )


def place_evidence(heard: Heard, states: States, strings: Strings, a4_hz: float) -> FloatArray:
    """Return evidence for each place, shape (candidates, places), choked notes allowed for.

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
    n = len(states.string) // 2
    string, fret, pitch = states.string[:n], states.fret[:n], states.pitch[:n]
    sounded = _sounded(heard, string, fret, pitch, strings, a4_hz)
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


def _sounded(
    heard: Heard,
    string: IntArray,
    fret: IntArray,
    pitch: FloatArray,
    strings: Strings,
    a4_hz: float,
) -> FloatArray:
    shift = 12.0 * np.log2(a4_hz / 440.0)
    midi = pitch + shift + strings.cents[string] / 100.0
    nearest = np.round((midi - _LOWEST_MIDI) * 8.0).astype(np.intp)
    reach = round(_REACH_CENTS / 12.5)
    score = np.full((len(heard.onset), len(string)), -1.0)
    for k in range(-reach, reach + 1):
        index = np.clip(nearest + k, 0, heard.scores.shape[1] - 1)
        # A pitch further off is worth less, but a string a little out of tune loses nothing.
        loss = 0.5 * (12.5 * k / 30.0) ** 2 / _SCORE_NATS
        score = np.maximum(score, heard.scores[:, index] - loss)
    evidence = _SCORE_NATS * (np.clip(score, 0.0, 1.0) - 1.0)
    heard_midi = 69.0 + 12.0 * np.log2(heard.pitch_hz / 440.0)
    off = 100.0 * (heard_midi[:, None] - midi)
    fits = np.abs(off) < 2 * _REACH_CENTS
    z = off / strings.cents_sd[string]
    evidence -= np.where(fits, np.minimum(0.5 * z * z, _CENTS_CAP), 0.0)
    expected = strings.ln_b[string] + LN_B_PER_FRET * fret
    sd = np.sqrt(heard.ln_b_sd[:, None] ** 2 + _LN_B_SD**2 + strings.ln_b_sd[string] ** 2)
    z = (heard.ln_b[:, None] - expected) / sd
    evidence -= np.where(fits, np.minimum(0.5 * z * z, _LN_B_CAP), 0.0)
    return evidence


def learn(
    heard: Heard,
    guitar: Guitar,
    rows: IntArray,
    string: IntArray,
    fret: IntArray,
    pitch: FloatArray,
    offset_cents: float,
) -> Strings:
    """Return what the placed notes tell of each string.

    Parameters
    ----------
    heard
        Candidates.
    guitar
        The instrument.
    rows, string, fret, pitch
        Placed candidates, their place and its nominal MIDI pitch.
    offset_cents
        Of the instrument as a whole, for strings without notes.
    """
    start = unknown_strings(guitar, offset_cents)
    cents, cents_sd = start.cents.copy(), start.cents_sd.copy()
    ln_b, ln_b_sd = start.ln_b.copy(), start.ln_b_sd.copy()
    midi = 69.0 + 12.0 * np.log2(heard.pitch_hz[rows] / guitar.a4_hz)
    off = 100.0 * (midi - pitch)
    open_b = heard.ln_b[rows] - LN_B_PER_FRET * fret
    clear = np.abs(off) < 80.0
    for s in guitar.strings:
        mine = clear & (string == s)
        if mine.sum() >= 3:
            cents[s] = np.median(off[mine])
            cents_sd[s] = _CENTS_SD + 20.0 / mine.sum()
        known = mine & (heard.ln_b_sd[rows] < 0.5)
        if known.sum() >= 2:
            ln_b[s] = np.median(open_b[known])
            ln_b_sd[s] = 0.6 / np.sqrt(known.sum())
    return Strings(cents=cents, cents_sd=cents_sd, ln_b=ln_b, ln_b_sd=ln_b_sd)
