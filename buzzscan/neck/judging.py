"""From measured notes to a judged neck: verdicts first, then what stands behind them.

Conventions
-----------
Causes of contact come first, the surest leading; then dead spots, pitch, and
what has to be played again. When most of a take could not be judged, that comes first.

Limits
------
Says nothing about what was not played.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence

import numpy as np

from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.advice import ADVICE
from buzzscan.neck.causes import straight_odds
from buzzscan.neck.clearance import Setup, setup_of
from buzzscan.neck.culprit import LEFT_OVER, WIDE_SURE, Found, Wide, explain, scaled
from buzzscan.neck.deadspots import DeadSpot, dead_spots
from buzzscan.neck.evidence import evidence_of
from buzzscan.neck.falls import IN_A_ROOM_DB, room_of
from buzzscan.neck.findings import (
    contact_finding,
    dead_spot_finding,
    low_action_finding,
    straight_finding,
)
from buzzscan.neck.gaps import silent_passes
from buzzscan.neck.intonation import string_pitches
from buzzscan.neck.pitchfindings import pitch_findings
from buzzscan.neck.positions import (
    Place,
    by_position,
    judge_positions,
    judged_notes,
    sustain_word,
)
from buzzscan.neck.softer import hard_takes_only, soft_takes, with_softer
from buzzscan.neck.verdict import Bars, Finding, FindingKind, Judgement, Position, is_marked
from buzzscan.spans import strings_named

__all__ = ["judge"]

_SURE, _WIDE_TIMES = 0.3, 3
"""Widespread buzz comes after a cause this sure, unless it is this many times as large."""
_REACH_POWER = 0.1
"""What is surer comes first; how many notes stand behind it decides between those about as sure."""
_RETAKE_SHARE = 0.25
_RETAKE_FIRST_SHARE = 0.5
_NO_NOTE = "no note where there was time for one: choked, or left out"
_SOFT_DBFS = -45.0
"""Median attack below this is no hard picking at any usual recording level."""


def _with_widespread(
    findings: list[Finding],
    wide: Wide,
    positions: Mapping[Place, Position],
    *,
    setup: Setup,
    too_little_mm: float | None,
) -> list[Finding]:
    """Return the findings with widespread buzz among them, where it belongs.

    It is what low action does, or a neck that was measured to be too straight: that is set first.
    The same found among the causes gives way to it when it explains less, and lends it its
    confidence. What one fret or the shape of the neck explains comes first where it is the surer
    or explains enough: it is mended first, and what is left may be the player's touch.
    """
    kind: FindingKind = "low action" if too_little_mm is None else "neck too straight"

    def told(confidence: float) -> Finding:
        where = wide.strings, wide.places, positions
        if too_little_mm is None:
            return low_action_finding(*where, confidence=confidence)
        return straight_finding(*where, confidence=confidence, too_little_mm=too_little_mm)

    marked = [f for f in findings if is_marked(f, positions.values())]
    others = [f for f in findings if f.kind != kind]
    own = wide.confidence
    if kind == "neck too straight":
        own = min(scaled(own, math.exp(straight_odds(setup))), WIDE_SURE[1])
    surest = max([own, *(f.confidence for f in findings if f.kind == kind)])
    finding = told(surest)
    if any(f.kind == kind and len(f.notes) >= len(finding.notes) for f in marked):
        return findings
    sure = [f for f in marked if f.kind != kind and f.confidence >= _SURE]
    explained = len(finding.notes) <= _WIDE_TIMES * sum(len(f.notes) for f in sure)
    if explained or any(f.confidence > surest for f in sure):
        return [*others, told(scaled(surest, LEFT_OVER))]
    return [finding, *others]


def _rank(found: Found, setup: Setup) -> str:
    """Return how a height compares with the clearance to the next fret, without mm."""
    usual = float(np.mean(setup.saddle_mm)) * (1.0 - 2.0 ** (-1.0 / 12.0))
    does = "takes up" if found.cause.kind == "high fret" else "lies lower by"
    percent = 100.0 * min(found.size_mm / usual, 1.5)
    return (
        f"It {does} about {percent:.0f} % of the usual clearance to the next fret; action and "
        "relief are needed to say it in mm."
    )


def _retake(
    guitar: Guitar, positions: Sequence[Position], notes: Sequence[MeasuredNote]
) -> tuple[Finding | None, float]:
    """Return the finding on what must be played again, and the share that was not judged."""
    played = [p for p in positions if p.notes]
    lost = [p for p in played if p.contact is None]
    share = len(lost) / len(played) if played else 1.0
    attack_dbfs = float(np.median([n.attack_dbfs for n in notes])) if notes else 0.0
    soft = attack_dbfs < _SOFT_DBFS
    silent = [s for s in guitar.strings if not any(p.string == s for p in played)]
    if share < _RETAKE_SHARE and not soft:
        return None, share
    reasons = []
    strings = tuple(sorted({p.string for p in lost} | set(silent)))
    if share >= _RETAKE_SHARE:
        reasons.append(
            f"{len(lost)} of {len(played)} positions played could not be judged for buzz"
        )
    if silent:
        reasons.append(f"{strings_named(silent)} not played")
    if soft:
        reasons.append(
            f"recorded so quietly (attacks at {attack_dbfs:.0f} dBFS) that soft picking, which "
            "would hide buzz, cannot be ruled out"
        )
        strings = tuple(guitar.strings)
    text = "; ".join(reasons)
    finding = Finding(
        kind="retake",
        strings=strings,
        frets=tuple(sorted({p.fret for p in lost})) if share >= _RETAKE_SHARE else (),
        confidence=0.95,
        height_mm=None,
        height_low_mm=None,
        height_high_mm=None,
        summary=f"{text[0].upper()}{text[1:]}.",
        next_step=ADVICE["retake"].text(),
        notes=tuple(sorted(i for p in lost for i in p.notes)),
    )
    return finding, share


def _glides(places: Mapping[Place, Sequence[MeasuredNote]]) -> dict[Place, float]:
    """Return the glide of each place that has one: the middle of its notes that count."""
    told = {
        place: [n.glide_cents for n in judged_notes(notes) if n.glide_cents is not None]
        for place, notes in places.items()
    }
    return {place: max(float(np.median(glides)), 0.0) for place, glides in told.items() if glides}


def _with_silent(
    positions: Sequence[Position], silent: Mapping[Place, int]
) -> tuple[Position, ...]:
    """Return the positions, those that were picked and gave no note with that as the reason."""
    return tuple(
        dataclasses.replace(p, reason=_NO_NOTE, silent=True)
        if not p.notes and silent.get((p.string, p.fret))
        else p
        for p in positions
    )


def _with_spots(
    positions: Sequence[Position], spots: Sequence[DeadSpot], *, bars: Bars
) -> tuple[Position, ...]:
    """Return the positions, those in a dead spot with their fall.

    Where no single note tells its own, all notes of the pitch together do.
    """
    told = {place: r for spot in spots for place, r in zip(spot.places, spot.ratios, strict=True)}

    def with_fall(position: Position) -> Position:
        ratio = told.get((position.string, position.fret), 0.0)
        if position.sustain is not None or ratio < bars.short_ratio:
            return position
        word = sustain_word(bars, ratio=ratio, sure=None)
        return dataclasses.replace(position, decay_ratio=ratio, sustain=word)

    return tuple(with_fall(p) for p in positions)


def judge(
    guitar: Guitar,
    notes: Sequence[MeasuredNote],
    *,
    bars: Bars | None = None,
    offset_cents: float = 0.0,
) -> Judgement:
    """Return the verdict on every position and the likely causes behind them.

    Parameters
    ----------
    guitar
        The instrument; action and relief allow heights in mm.
    notes
        All measured notes of the scan, in any order.
    bars
        Where the user sets the bars; the usual ones when None.
    offset_cents
        How far the instrument as a whole lies from its nominal pitch, in cents; taken off
        before pitch is judged.

    Returns
    -------
    Judgement
        One position per string and fret, and findings, most useful first.
    """
    bars = bars or Bars()
    silent, soft = silent_passes(notes), soft_takes(notes)
    heard, notes = notes, hard_takes_only(notes, soft)
    positions = _with_silent(
        judge_positions(
            guitar,
            notes,
            bars=bars,
            offset_cents=offset_cents,
            in_a_room=room_of(notes) > IN_A_ROOM_DB,
        ),
        silent,
    )
    positions = with_softer(positions, heard, soft)
    by_place = {(p.string, p.fret): p for p in positions}
    setup = setup_of(guitar)
    places = by_position(notes)
    evidence = evidence_of(guitar, positions, places, silent=silent)
    explained = explain(setup, evidence, lowest=guitar.capo)
    too_little_mm = guitar.relief_mm if setup.too_straight else None
    findings: list[Finding] = [
        contact_finding(
            f,
            by_place,
            in_mm=setup.in_mm,
            rank=_rank(f, setup),
            too_little_mm=too_little_mm,
            enough_mm=guitar.relief_mm if setup.relief_is_sound else None,
        )
        for f in explained.found
    ]
    findings.sort(key=lambda f: -f.confidence * len(f.notes) ** _REACH_POWER)
    if explained.wide is not None:
        findings = _with_widespread(
            findings, explained.wide, by_place, setup=setup, too_little_mm=too_little_mm
        )
    spots = dead_spots(guitar, positions, places, bars=bars)
    findings.extend(dead_spot_finding(s, by_place) for s in spots)
    pitches = string_pitches(
        guitar, positions, setup, offset_cents=offset_cents, glides=_glides(places)
    )
    findings.extend(
        pitch_findings(
            pitches,
            by_place,
            bars=bars,
            scale_mm=guitar.scale_mm,
            nut_gap_mm=guitar.nut_gap_mm,
            capo=guitar.capo,
        )
    )
    retake, lost = _retake(guitar, positions, notes)
    if retake is not None:
        findings.insert(0 if lost >= _RETAKE_FIRST_SHARE else len(findings), retake)
    return Judgement(positions=_with_spots(positions, spots, bars=bars), findings=tuple(findings))
