"""The causes that best explain where the strings strike, by geometry and probability.

Conventions
-----------
For each cause the pluck strength at which every note would strike is known from geometry
(`clearance`); each string's own strength is not, and is summed over. A note strikes with
probability Φ((ln strength − ln threshold)/slack). Causes are added one at a time while they
explain more than they cost (their prior), so one cause for many places beats many causes.

Limits
------
The strength is one number per string. Log odds are tempered because places share errors that
the model does not know.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp, ndtr

from buzzscan.neck.causes import Cause, causes_of
from buzzscan.neck.clearance import Setup, clearances, envelope
from buzzscan.neck.evidence import Evidence

__all__ = ["Explanation", "Found", "explain"]

FloatArray = npt.NDArray[np.float64]

_PLUCK_SHARE = 0.2
"""Pluck place as a share of the open string from the saddle (common practice, no source)."""
_SLACK = 0.22
"""Standard deviation of ln(strength) − ln(threshold): uneven picking and small unevenness."""
_FLOOR = 0.03
"""Least probability left to either answer on contact."""
_TEMPER = 0.7
_LEAST_GAIN = 1.0
"""Log odds over "no such cause" from which a cause is taken in."""
_MOST_CAUSES = 5
_LEAST_CLEARANCE_MM = 0.01
_STRENGTHS = np.linspace(-1.8, 1.4, 25)
_STRENGTH_MIDDLE, _STRENGTH_SPREAD = -0.4, 0.5
"""Prior of ln strength over ln(middle threshold of the level neck): a hard player comes close."""


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
class _Model:
    setup: Setup
    evidence: Evidence
    swing: FloatArray
    levels: FloatArray

    def thresholds(self, heights: FloatArray) -> FloatArray:
        """Return ln of the strength at which each note strikes; heights (S, …, F + 1)."""
        saddle = self.setup.saddle_mm.reshape((-1,) + (1,) * (heights.ndim - 2))
        gaps = clearances(
            heights, np.broadcast_to(saddle, heights.shape[:-1]),
            places_mm=self.setup.places_mm, scale_mm=self.setup.scale_mm,
        )
        swing = np.where(self.swing > 0.0, self.swing, 1e-9)
        least = np.min(np.maximum(gaps, _LEAST_CLEARANCE_MM) / swing, axis=-1)
        return np.log(least)

    def log_likelihood(self, thresholds: FloatArray) -> FloatArray:
        """Return ln P(contact | strength) per string and strength; thresholds (S, …, F + 1)."""
        extra = (1,) * (thresholds.ndim - 2)
        n_strings = thresholds.shape[0]
        levels = self.levels.reshape((n_strings, *extra, self.levels.shape[1], 1))
        strike = ndtr((levels - thresholds[..., None, :]) / _SLACK)
        q = self.evidence.contact.reshape((n_strings, *extra, 1, -1))
        q = np.clip(np.where(np.isnan(q), 0.5, q), _FLOOR, 1.0 - _FLOOR)
        return np.log(q * strike + (1.0 - q) * (1.0 - strike)).sum(axis=-1)


def _strength_prior() -> FloatArray:
    log_p = -0.5 * ((_STRENGTHS - _STRENGTH_MIDDLE) / _STRENGTH_SPREAD) ** 2
    return np.asarray(log_p - logsumexp(log_p), np.float64)


def _evidence_of(model: _Model, heights: FloatArray) -> FloatArray:
    """Return tempered ln P(contact) per string, summed over the strength."""
    ll = model.log_likelihood(model.thresholds(heights))
    return np.asarray(logsumexp(_TEMPER * ll + _strength_prior(), axis=-1), np.float64)


def _spans(n: int) -> list[tuple[int, int]]:
    return [(a, b) for a in range(n) for b in range(a + 1, n + 1)]


@dataclass(frozen=True, slots=True)
class _Candidate:
    cause: Cause
    span: tuple[int, int]
    score: float
    by_size: FloatArray


def _candidates(model: _Model, heights: FloatArray, causes: tuple[Cause, ...]) -> list[_Candidate]:
    base = _evidence_of(model, heights)
    n = heights.shape[0]
    spans = _spans(n)
    out = []
    for sizes in {c.sizes_mm.tobytes(): c.sizes_mm for c in causes}.values():
        group = [c for c in causes if c.sizes_mm.tobytes() == sizes.tobytes()]
        change = np.stack([np.outer(sizes, c.shape) for c in group])
        gain = _evidence_of(model, heights[:, None, None, :] + change) - base[:, None, None]
        sums = np.concatenate([np.zeros((1, *gain.shape[1:])), np.cumsum(gain, axis=0)])
        for i, cause in enumerate(group):
            for span in [(0, n)] if cause.whole_neck else spans:
                by_size = sums[span[1], i] - sums[span[0], i] - np.log(sizes.size)
                share = 0.0 if cause.whole_neck else -np.log(len(spans))
                score = float(logsumexp(by_size)) + cause.log_prior + share
                out.append(_Candidate(cause, span, score, by_size))
    return out


def _interval(cause: Cause, by_size: FloatArray) -> tuple[float, float, float]:
    fine = np.linspace(cause.sizes_mm[0], cause.sizes_mm[-1], 200)
    density = np.exp(np.interp(fine, cause.sizes_mm, by_size - by_size.max()))
    share = np.cumsum(density) / density.sum()
    low, middle, high = np.interp([0.05, 0.5, 0.95], share, fine)
    return float(low), float(middle), float(high)


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
    swing = envelope(
        setup.places_mm, scale_mm=setup.scale_mm, pluck_mm=_PLUCK_SHARE * setup.scale_mm
    )
    level = _Model(setup, evidence, swing, np.zeros((setup.heights_mm.shape[0], 1)))
    middle = np.median(level.thresholds(setup.heights_mm)[:, lowest:-1], axis=1)
    model = _Model(setup, evidence, swing, middle[:, None] + _STRENGTHS)
    causes = causes_of(setup, lowest=lowest)
    heights = setup.heights_mm.copy()
    found: list[Found] = []
    for _ in range(_MOST_CAUSES):
        candidates = _candidates(model, heights, causes)
        best = max(candidates, key=lambda c: c.score)
        if best.score < _LEAST_GAIN:
            break
        scores = np.array([c.score for c in candidates])
        same = np.array([_same(c, best) for c in candidates])
        total = logsumexp(np.append(scores, 0.0))
        confidence = float(np.exp(logsumexp(scores[same]) - total))
        low, size, high = _interval(best.cause, best.by_size)
        before = _striking(model, heights)
        heights = heights.copy()
        heights[best.span[0] : best.span[1]] += size * best.cause.shape
        after = _striking(model, heights)
        places = np.argwhere((after - before > 0.25) & (np.nan_to_num(evidence.contact) >= 0.5))
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
    return Explanation(found=tuple(found), striking=_striking(model, setup.heights_mm, heights))


def _striking(
    model: _Model, heights: FloatArray, given: FloatArray | None = None
) -> FloatArray:
    """Return P(contact) per place for some heights, strengths weighed by those `given`."""
    weigh = model.log_likelihood(model.thresholds(heights if given is None else given))
    weigh = _TEMPER * weigh + _strength_prior()
    weight = np.exp(weigh - logsumexp(weigh, axis=-1, keepdims=True))
    strike = ndtr((model.levels[:, :, None] - model.thresholds(heights)[:, None, :]) / _SLACK)
    return np.asarray(np.einsum("sg,sgf->sf", weight, strike), np.float64)
