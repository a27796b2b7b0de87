"""Everything that could make strings strike frets, as changes to a neck's heights.

Conventions
-----------
A cause changes heights in mm in proportion to its size; `shape[m]` is the change at fret m
(index 0: nut slot, last: saddle) for a size of 1 mm. Sizes are positive.

Limits
------
A pluck that is too hard for a fair action and an action that is too low for a fair pluck look
alike in part; both are called low action.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.neck.clearance import Setup, relief_curve
from buzzscan.neck.verdict import FindingKind

__all__ = ["FRET_KINDS", "Cause", "causes_of", "straight_odds"]

FloatArray = npt.NDArray[np.float64]

FRET_KINDS: tuple[FindingKind, ...] = ("high fret", "low fret")
"""Causes that sit at one fret."""
_FIRST_FRETS = 6
_RISE_FRETS = (12, 15)
"""Neck and body meet about here; a rising end begins at or after it (common practice)."""
_LEAST_RISE_FRETS = 4
"""Fewer frets than this are no end that rises, but frets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One possible cause.

    Parameters
    ----------
    kind
        Its name in the trade.
    frets
        Where it sits.
    shape
        Change of height per mm of size, shape (frets + 2,).
    sizes_mm
        Sizes considered, as many for every cause.
    log_prior
        Natural log of how common it is at this very place, over all spans of strings.
    span_shares
        Shares of one string, of several, and of all strings.
    """

    kind: FindingKind
    frets: tuple[int, ...]
    shape: FloatArray
    sizes_mm: FloatArray
    log_prior: float
    span_shares: tuple[float, float, float]

    @property
    def name(self) -> tuple[FindingKind, int]:
        """What it is called: the kind, and the fret of one that sits at one fret."""
        return self.kind, self.frets[0] if self.kind in FRET_KINDS else 0

    @property
    def of_setup(self) -> bool:
        """Whether it sits at no fret and no slot, but in how the neck and the strings lie."""
        return self.kind not in {*FRET_KINDS, "low nut slot"}

    @property
    def whole_neck(self) -> bool:
        """Whether it always concerns all strings."""
        return self.span_shares[:2] == (0.0, 0.0)


_HIGH_SIZES_MM = np.array([0.05, 0.08, 0.115, 0.15, 0.2, 0.4])
_LOW_SIZES_MM = np.array([0.04, 0.07, 0.1, 0.14, 0.2, 0.28])
"""A fret that has come out of its slot stands higher than any is worn down."""
_NUT_SHARES = np.array([0.5, 0.65, 0.8, 0.9, 0.97, 1.05])
"""Sizes of a low slot, as shares of the open string's gap over fret 1."""
_ACTION_SIZES_MM = np.array([0.15, 0.25, 0.35, 0.5, 0.65, 0.8])
_RELIEF_SIZES_MM = np.array([0.06, 0.12, 0.18, 0.24, 0.3, 0.36])
_END_SIZES_MM = np.array([0.1, 0.18, 0.26, 0.36, 0.48, 0.6])

_LOG_PRIOR: dict[FindingKind, float] = {
    "high fret": float(np.log(1.5)),
    "low fret": float(np.log(0.45)),
    "low nut slot": float(np.log(0.50)),
    "neck too straight": float(np.log(0.25)),
    "rising fret end": float(np.log(0.2)),
    "low action": float(np.log(0.30)),
}
"""How many of each to expect on a neck that is brought in for buzz (common practice, no source);
high frets seldom come alone."""
_STRAIGHT_PER_MM, _STRAIGHT_MOST = 22.0, 3.3
"""How much commoner (ln) a neck that is too straight is per mm of relief that was measured to be
missing, and at most: about ten times where there is none at all (common practice, no source)."""

_SOUND_RELIEF = 2.3
"""How much rarer (ln) it is where the relief was measured to be sound: one measurement in ten is
wrong, or old (common practice, no source)."""

_SPAN_SHARES: dict[FindingKind, tuple[float, float, float]] = {
    "high fret": (0.03, 0.5, 0.47),
    "low fret": (0.03, 0.5, 0.47),
    "low nut slot": (0.8, 0.15, 0.05),
    "low action": (0.1, 0.4, 0.5),
    "neck too straight": (0.0, 0.0, 1.0),
    "rising fret end": (0.0, 0.0, 1.0),
}
"""Frets rise or wear over several strings and seldom under one alone (of eight told there, seven
were false on simulated takes); slots are cut one by one (common practice)."""


def _at(fret: int, n: int, value: float) -> FloatArray:
    shape = np.zeros(n)
    shape[fret] = value
    return shape


def _first_gap_mm(setup: Setup) -> float:
    """Return the open string's gap over fret 1, in the middle of the strings."""
    share = setup.places_mm[1] / setup.scale_mm
    line = setup.heights_mm[:, 0] * (1.0 - share) + setup.saddle_mm * share
    return float(np.median(line - setup.heights_mm[:, 1]))


def straight_odds(setup: Setup) -> float:
    """Return by how much (ln) the relief as it was measured speaks for a neck too straight."""
    if setup.relief_is_sound:
        return -_SOUND_RELIEF
    if not setup.too_straight:
        return 0.0
    return min(_STRAIGHT_PER_MM * setup.short_relief_mm, _STRAIGHT_MOST)


def _fret_causes(kind: FindingKind, frets: range, *, lowest: int, n: int) -> list[Cause]:
    """Return a high or a low fret at each of some frets, as common as at any that sounds."""
    each = _LOG_PRIOR[kind] - float(np.log(max(n - 2 - lowest, 1)))
    return [
        Cause(
            kind=kind,
            frets=(fret,),
            shape=_at(fret, n, 1.0 if kind == "high fret" else -1.0),
            sizes_mm=_HIGH_SIZES_MM if kind == "high fret" else _LOW_SIZES_MM,
            log_prior=each,
            span_shares=_SPAN_SHARES[kind],
        )
        for fret in frets
    ]


def _setup_causes(setup: Setup, *, lowest: int) -> list[Cause]:
    """Return the causes that relief and action make."""
    n = setup.places_mm.size + 1
    last = n - 2
    octave = setup.places_mm[min(12, last)]
    straight = Cause(
        kind="neck too straight",
        frets=tuple(range(max(lowest, 1), min(_FIRST_FRETS, last) + 1)),
        shape=np.append(relief_curve(setup.places_mm), 0.0),
        sizes_mm=_RELIEF_SIZES_MM,
        log_prior=_LOG_PRIOR["neck too straight"] + straight_odds(setup),
        span_shares=_SPAN_SHARES["neck too straight"],
    )
    low = Cause(
        kind="low action",
        frets=(),
        shape=_at(n - 1, n, -setup.scale_mm / octave),
        sizes_mm=_ACTION_SIZES_MM,
        log_prior=_LOG_PRIOR["low action"],
        span_shares=_SPAN_SHARES["low action"],
    )
    return [straight, low]


def _rising_ends(last: int, *, highest: int) -> list[Cause]:
    """Return a rising end from each fret where one may begin, as much higher at each fret on."""
    starts = [start for start in _RISE_FRETS if highest - start >= _LEAST_RISE_FRETS]
    frets = np.arange(last + 2)
    return [
        Cause(
            kind="rising fret end",
            frets=tuple(range(start + 1, last + 1)),
            shape=np.where(frets <= last, np.maximum(frets - start, 0.0) / (last - start), 0.0),
            sizes_mm=_END_SIZES_MM,
            log_prior=_LOG_PRIOR["rising fret end"] - float(np.log(len(starts))),
            span_shares=_SPAN_SHARES["rising fret end"],
        )
        for start in starts
    ]


def causes_of(setup: Setup, *, lowest: int, highest: int | None = None) -> tuple[Cause, ...]:
    """Return every cause considered on a neck.

    Parameters
    ----------
    setup
        Heights of the strings over level frets.
    lowest
        Lowest fret that sounds.
    highest
        Highest fret that was heard, the last one when not given. Frets beyond the next one take
        little clearance from any note that was.
    """
    n = setup.places_mm.size + 1
    last = n - 2
    heard = last if highest is None else min(highest, last)
    beyond = min(heard + 1, last)
    causes = [
        *_fret_causes("high fret", range(lowest + 1, beyond + 1), lowest=lowest, n=n),
        *_fret_causes("low fret", range(lowest + 1, beyond), lowest=lowest, n=n),
    ]
    causes += _setup_causes(setup, lowest=lowest)
    causes += _rising_ends(last, highest=heard)
    if lowest == 0:
        slot = Cause(
            kind="low nut slot",
            frets=(0,),
            shape=_at(0, n, -1.0),
            sizes_mm=_NUT_SHARES * _first_gap_mm(setup),
            log_prior=_LOG_PRIOR["low nut slot"],
            span_shares=_SPAN_SHARES["low nut slot"],
        )
        causes.append(slot)
    return tuple(causes)
