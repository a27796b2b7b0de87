"""The causes that best explain where the strings strike, by geometry and probability.

Conventions
-----------
Causes are added one at a time while they explain more than they cost (their prior), so one
cause for many places beats many causes. Log odds are against "no such cause".

Limits
------
What no height explains (a loose part that rattles) is left unexplained.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from buzzscan.neck.causes import Cause, causes_of
from buzzscan.neck.clearance import Setup
from buzzscan.neck.evidence import Evidence
from buzzscan.neck.strikes import StrikeModel, strike_model

__all__ = ["Explanation", "Found", "explain"]

FloatArray = npt.NDArray[np.float64]

_LEAST_GAIN = 0.0
"""Log odds over "no such cause" from which a cause is taken in."""
_LEADERS = 8
_MOST_CAUSES = 5
_EXPLAINS = 0.25
"""A cause explains a place when it raises its probability of contact by this much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One cause found.

    Parameters
    ----------
    cause, strings
        What and where; string numbers.
    confidence
        Probability against its rivals and against no cause.
    size_mm, low_mm, high_mm
        Middle and 90 % interval of its size, in mm of the assumed setup.
    places
        (string, fret) that it explains.
    """

    cause: Cause
    strings: tuple[int, ...]
    confidence: float
    size_mm: float
    low_mm: float
    high_mm: float
    places: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """All causes found and what the level neck itself would do.

    Parameters
    ----------
    found
        Causes, most explained first.
    striking
        Probability that each place strikes with no cause at all, shape (strings, frets + 1).
    """

    found: tuple[Found, ...]
    striking: FloatArray


@dataclass(frozen=True, slots=True)
class _Candidate:
    cause: Cause
    span: tuple[int, int]
    score: float
    by_size: FloatArray


def _spans(n: int, shares: tuple[float, float, float]) -> list[tuple[int, int, float]]:
    """Return every run of neighbouring strings with the log of its share of a cause."""
    spans = [(a, b) for a in range(n) for b in range(a + 1, n + 1)]
    kinds = [2 if b - a == n else 0 if b - a == 1 else 1 for a, b in spans]
    return [
        (a, b, float(np.log(shares[kind] / kinds.count(kind))))
        for (a, b), kind in zip(spans, kinds, strict=True)
        if shares[kind] > 0.0
    ]


def _group_candidates(
    model: StrikeModel, heights: FloatArray, base: FloatArray, causes: list[Cause]
) -> list[_Candidate]:
    """Return the candidates of causes that share their sizes; `base` is ln P as it stands."""
    sizes = causes[0].sizes_mm
    change = np.stack([np.outer(sizes, c.shape) for c in causes])
    gain = model.log_evidence(heights[:, None, None, :] + change) - base[:, :, None, None]
    sums = np.concatenate([np.zeros_like(gain[:, :1]), np.cumsum(gain, axis=1)], axis=1)
    total = base.sum(axis=1)[:, None]
    null = float(model.over_places(base.sum(axis=1)))
    out = []
    for i, cause in enumerate(causes):
        for a, b, share in _spans(heights.shape[0], cause.span_shares):
            by_size = total + sums[:, b, i] - sums[:, a, i]
            by_size = model.over_places(by_size) - null - np.log(sizes.size)
            score = float(logsumexp(by_size)) + cause.log_prior + share
            out.append(_Candidate(cause, (a, b), score, by_size))
    return out


def _candidates(
    model: StrikeModel, heights: FloatArray, causes: tuple[Cause, ...]
) -> list[_Candidate]:
    base = model.log_evidence(heights)
    groups: dict[bytes, list[Cause]] = {}
    for cause in causes:
        groups.setdefault(cause.sizes_mm.tobytes(), []).append(cause)
    return [c for g in groups.values() for c in _group_candidates(model, heights, base, g)]


def _interval(cause: Cause, by_size: FloatArray) -> tuple[float, float, float]:
    fine = np.linspace(cause.sizes_mm[0], cause.sizes_mm[-1], 200)
    density = np.exp(np.interp(fine, cause.sizes_mm, by_size - by_size.max()))
    share = np.cumsum(density) / density.sum()
    low, middle, high = np.interp([0.05, 0.5, 0.95], share, fine)
    return float(low), float(middle), float(high)


def _best(candidates: list[_Candidate]) -> tuple[_Candidate, float, float]:
    """Return the best span of the best cause, the cause's log odds and its probability."""
    scores = np.array([c.score for c in candidates])
    whole = logsumexp(np.append(scores, 0.0))
    leaders: dict[int, _Candidate] = {}
    for candidate in candidates:
        held = leaders.get(id(candidate.cause))
        if held is None or candidate.score > held.score:
            leaders[id(candidate.cause)] = candidate
    sums = {
        key: float(logsumexp([c.score for c in candidates if _same(c, leader)]))
        for key, leader in sorted(leaders.items(), key=lambda x: -x[1].score)[:_LEADERS]
    }
    key = max(sums, key=lambda k: sums[k])
    return leaders[key], sums[key], float(np.exp(sums[key] - whole))


def _same(a: _Candidate, b: _Candidate) -> bool:
    """Whether two candidates are the same cause for the one who files it."""
    if a.cause is not b.cause:
        return False
    return a.span[0] < b.span[1] and b.span[0] < a.span[1]


def explain(setup: Setup, evidence: Evidence, *, lowest: int) -> Explanation:
    """Return the causes that explain the contact evidence.

    Parameters
    ----------
    setup
        Heights of the strings over level frets.
    evidence
        Contact over the neck.
    lowest
        Lowest fret that sounds (the capo's, else 0).
    """
    model = strike_model(setup, evidence, lowest=lowest)
    causes = causes_of(setup, lowest=lowest)
    heights = setup.heights_mm.copy()
    found: list[Found] = []
    for _ in range(_MOST_CAUSES):
        best, gain, confidence = _best(_candidates(model, heights, causes))
        if gain < _LEAST_GAIN:
            break
        low, size, high = _interval(best.cause, best.by_size)
        before = heights
        heights = heights.copy()
        heights[best.span[0] : best.span[1]] += size * best.cause.shape
        rise = model.striking(heights, given=heights) - model.striking(before, given=heights)
        places = np.argwhere((rise > _EXPLAINS) & (np.nan_to_num(evidence.contact) >= 0.5))
        found.append(
            Found(
                cause=best.cause,
                strings=tuple(range(best.span[0] + 1, best.span[1] + 1)),
                confidence=confidence,
                size_mm=size,
                low_mm=low,
                high_mm=high,
                places=tuple((int(s) + 1, int(f)) for s, f in places),
            )
        )
    return Explanation(
        found=tuple(found), striking=model.striking(setup.heights_mm, given=heights)
    )
