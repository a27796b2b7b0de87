"""Findings on saddle, nut height and tuning, in words.

Conventions
-----------
A finding needs both: an error that the bar for pitch makes matter, and an error clear of its
own uncertainty.

Limits
------
Moves in mm are for the scale given; without it they are said for 100 mm of scale.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence

from buzzscan.neck.advice import ADVICE, how_sure
from buzzscan.neck.culprit import scaled
from buzzscan.neck.intonation import CENTS_PER_LENGTH, StringPitch
from buzzscan.neck.positions import Place
from buzzscan.neck.verdict import Bars, Finding, FindingKind, Position

__all__ = ["pitch_findings"]

_Z_90 = 1.645
_SADDLE_SHARE, _NUT_SHARE, _TUNING_SHARE = 0.75, 0.75, 1.0
"""Shares of the bar for pitch: the saddle's error doubles by fret 24, so it is told early."""
_CLEAR_SHARE = 0.5
_NUT_FRETS = 3
_FIRST_SHARE = 0.5
"""Share of a high slot's cents that fret 1 must read above the open string."""
_HIGHEST_SOUND_GAP_MM = 0.5
"""Measured gap under an open string, over fret 1, up to which no slot is high (common practice, no
source)."""
_SOUND_GAP, _LEAST_AGAINST = 0.1, 0.5
"""Odds of a high slot where that was measured, against those without: as few measurements are wrong
or old (common practice, no source); and what is left of it to be told."""


def _confidence(value: float, error: float, least: float) -> float:
    """Return the probability that |value| is above `least`, normal errors, at most 0.98."""
    z = (abs(value) - least) / max(error, 1e-6)
    return min(0.5 * (1.0 + math.erf(z / math.sqrt(2.0))), 0.98)


def _matters(value: float, error: float, least: float) -> bool:
    return abs(value) >= least and abs(value) - _Z_90 * error >= _CLEAR_SHARE * least


def _is_sharp(pitch: StringPitch) -> bool:
    """Whether fret 1 itself is sharp as a high slot makes it, not only the trend towards it.

    Where it strikes a fret or a resonance pulls the open string, the trend of the others says
    little about it.
    """
    first = pitch.first_cents
    return first is not None and 0.0 < _FIRST_SHARE * pitch.nut_cents <= first


def _ids(
    strings: int, frets: Iterable[int], positions: Mapping[Place, Position]
) -> tuple[int, ...]:
    return tuple(
        sorted({i for f in frets if (strings, f) in positions for i in positions[strings, f].notes})
    )


def _finding(
    kind: FindingKind,
    pitch: StringPitch,
    frets: tuple[int, ...],
    *,
    confidence: float,
    summary: str,
    notes: tuple[int, ...],
    move: tuple[float, float, float] | None = None,
) -> Finding:
    return Finding(
        kind=kind,
        strings=(pitch.string,),
        frets=frets,
        confidence=confidence,
        height_mm=None,
        height_low_mm=None,
        height_high_mm=None,
        summary=summary,
        next_step=ADVICE[kind].text(),
        notes=notes,
        move_mm=None if move is None else move[0],
        move_low_mm=None if move is None else move[1],
        move_high_mm=None if move is None else move[2],
    )


def _saddle(
    pitch: StringPitch, scale_mm: float | None, positions: Mapping[Place, Position], least: float
) -> Finding:
    cents, error = pitch.saddle_cents, pitch.saddle_error
    per_cent = (scale_mm or 100.0) / CENTS_PER_LENGTH
    middle, half = cents * per_cent, _Z_90 * error * per_cent
    word, way = ("sharp", "back") if cents > 0.0 else ("flat", "forward")
    scale = "" if scale_mm is not None else " per 100 mm of scale"
    low, high = sorted((abs(middle) - half, abs(middle) + half))
    confidence = _confidence(cents, error, least * _CLEAR_SHARE)
    summary = (
        f"{how_sure(confidence)}: string {pitch.string} is {abs(cents):.1f} cents {word} at the "
        f"12th fret against its open string, from {pitch.n_notes} frets (± {_Z_90 * error:.1f}): "
        f"saddle {way} by about {abs(middle):.2f} mm ({max(low, 0.0):.2f}–{high:.2f} mm){scale}."
    )
    return _finding(
        "saddle",
        pitch,
        (12,),
        confidence=confidence,
        summary=summary,
        notes=_ids(pitch.string, (0, 12), positions),
        move=(middle, middle - half, middle + half) if scale_mm is not None else None,
    )


def _nut(
    pitch: StringPitch,
    first: int,
    positions: Mapping[Place, Position],
    least: float,
    *,
    gap_mm: float | None,
) -> Finding | None:
    """Return the finding on a high slot, None where the gap as measured makes it unlikely."""
    # what is filed off a nut does not come back: sure means over the bar, not half over it
    confidence = _confidence(pitch.nut_cents, pitch.nut_error, least)
    against = ""
    if gap_mm is not None and gap_mm <= _HIGHEST_SOUND_GAP_MM:
        confidence = scaled(confidence, _SOUND_GAP)
        if confidence < _LEAST_AGAINST:
            return None
        against = (
            f" {gap_mm:.2f} mm over fret 1 was measured, which speaks against it: measure this "
            "string again."
        )
    frets = tuple(range(first, first + _NUT_FRETS))
    return _finding(
        "high nut slot",
        pitch,
        frets,
        confidence=confidence,
        summary=f"{how_sure(confidence)}: string {pitch.string} is {pitch.nut_cents:.1f} cents "
        f"(± {_Z_90 * pitch.nut_error:.1f}) sharp at fret {first} beyond what its other frets are, "
        f"and less so at each fret up: the nut slot is high.{against}",
        notes=_ids(pitch.string, frets, positions),
    )


def _tuning(
    pitch: StringPitch,
    cents: float,
    positions: Mapping[Place, Position],
    *,
    bars: Bars,
    capo: int,
) -> Finding:
    word = "sharp" if cents > 0.0 else "flat"
    held = f"at the capo on fret {capo}" if capo else "open"
    confidence = _confidence(cents, pitch.tuning_error, bars.pitch_cents * 0.7)
    return _finding(
        "tuning",
        pitch,
        (capo,),
        confidence=confidence,
        summary=f"{how_sure(confidence)}: string {pitch.string}, {held}, is "
        f"{abs(cents):.1f} cents {word} against the other strings "
        f"(± {_Z_90 * pitch.tuning_error:.1f}): it was not in tune for this take.",
        notes=_ids(pitch.string, (capo,), positions),
    )


def pitch_findings(
    pitches: Sequence[StringPitch],
    positions: Mapping[Place, Position],
    *,
    bars: Bars,
    scale_mm: float | None,
    nut_gap_mm: float | None,
    capo: int,
) -> tuple[Finding, ...]:
    """Return findings on nut height, saddle and tuning of every string, in that order.

    A string is out of tune against the middle one of all, one of two against the one that is
    nearer: fretted notes are mostly sharper than open ones, so against these all strings are flat.
    """
    nuts, saddles, tunings = [], [], []
    tuned = [p.tuning_cents for p in pitches]
    middle = statistics.median(tuned) if len(tuned) > 2 else min(tuned, key=abs, default=0.0)
    for pitch in pitches:
        least = _NUT_SHARE * bars.pitch_cents
        if capo == 0 and _matters(pitch.nut_cents, pitch.nut_error, least) and _is_sharp(pitch):
            slot = _nut(pitch, 1, positions, least, gap_mm=nut_gap_mm)
            nuts += [] if slot is None else [slot]
        least = _SADDLE_SHARE * bars.pitch_cents
        if capo == 0 and _matters(pitch.saddle_cents, pitch.saddle_error, least):
            saddles.append(_saddle(pitch, scale_mm, positions, least))
        least = _TUNING_SHARE * bars.pitch_cents
        # one string alone has no others to be out of tune with: it is the middle
        cents = pitch.tuning_cents - middle
        if _matters(cents, pitch.tuning_error, least):
            tunings.append(_tuning(pitch, cents, positions, bars=bars, capo=capo))
    return (*nuts, *saddles, *tunings)
