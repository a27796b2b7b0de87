"""The causes that best explain where the strings strike, by geometry and probability.

Conventions
-----------
Causes are added one at a time while they explain more than they cost (their prior), so one
cause for many places beats many causes. Log odds are against "no such cause". Once all are
found, each is weighed again beside the others, and its size is fitted finely.

Limits
------
What no height explains (a loose part that rattles) is left unexplained. A high fret and a low
fret before it sound alike when little else strikes; the rival is then named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.neck.causes import Cause, causes_of
from buzzscan.neck.clearance import Setup
from buzzscan.neck.evidence import Evidence
from buzzscan.neck.strikes import StrikeModel, log_sum, strike_model

__all__ = ["Explanation", "Found", "explain"]

FloatArray = npt.NDArray[np.float64]
Span = tuple[int, int]

_LEAST_GAIN = -1.6
"""Log odds from which a cause is taken in: one in six is worth a look with a straightedge."""
_LEAST_SUPPORT = 1.5
"""Log odds that the evidence itself must add to the prior."""
_MOST_CAUSES = 5
_EXPLAINS = 0.25
"""A cause explains a place when it raises its probability of contact by this much."""
_WIDE_CONTACT = 0.6
_WIDE_STRING_SHARE, _WIDE_PLACES = 0.2, 8
"""Share of a string's places, and places in all, from which buzz is widespread."""
_RIVAL = 0.08
"""Probability from which a rival is worth naming."""
_SIZE_TEMPER = 0.35
"""Places share errors of the model, which weigh more on a size than on which cause it is."""
_FINE_SIZES = 60


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
    rival, rival_confidence
        The next likely cause for the same places, if it is worth naming.
    """

    cause: Cause
    strings: tuple[int, ...]
    confidence: float
    size_mm: float
    low_mm: float
    high_mm: float
    places: tuple[tuple[int, int], ...]
    rival: Cause | None
    rival_confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """All causes found and what the level neck itself would do.

    Parameters
    ----------
    found
        Causes, most explained first.
    wide
        Strings and places (strings, frets + 1) of buzz that is left and widespread.
    """

    found: tuple[Found, ...]
    wide: tuple[tuple[int, ...], npt.NDArray[np.bool_]] | None


@dataclass(frozen=True, slots=True)
class _Pick:
    """A cause taken in; `support` is what the evidence alone adds to its log odds."""

    index: int
    span: Span
    size: float
    gain: float
    support: float
    confidence: float
    rival: int | None
    rival_confidence: float


@dataclass(frozen=True, slots=True)
class _Search:
    model: StrikeModel
    causes: tuple[Cause, ...]
    spans: tuple[Span, ...]
    log_share: FloatArray
    changes: FloatArray

    def scores(self, profile: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return log odds per (cause, span), and those by size per (cause, span, size)."""
        base = self.model.log_evidence(profile)
        gain = self.model.log_evidence(profile[:, None, None, :] + self.changes)
        gain -= base[:, :, None, None]
        sums = np.concatenate([np.zeros_like(gain[:, :1]), np.cumsum(gain, axis=1)], axis=1)
        first, last = np.asarray(self.spans).T
        of_spans = sums[:, last] - sums[:, first]
        total = base.sum(axis=1)
        by_size = self.model.over_places(total[:, None, None, None] + of_spans)
        by_size = np.moveaxis(by_size - self.model.over_places(total), 0, 1)
        prior = np.array([c.log_prior for c in self.causes])[:, None] + self.log_share
        return log_sum(by_size, axis=-1) - np.log(by_size.shape[-1]) + prior, by_size

    def overlapping(self, span: Span) -> npt.NDArray[np.bool_]:
        """Return which spans share a string with one."""
        first, last = np.asarray(self.spans).T
        return np.asarray((first < span[1]) & (last > span[0]))

    def best(self, profile: FloatArray) -> _Pick:
        """Return the best cause beside those already in the profile."""
        scores, by_size = self.scores(profile)
        leaders = scores.argmax(axis=1)
        families = np.array(
            [
                log_sum(scores[i][self.overlapping(self.spans[lead])])
                for i, lead in enumerate(leaders)
            ]
        )
        share = np.exp(families - log_sum(np.append(scores.ravel(), 0.0)))
        index = int(families.argmax())
        lead = int(leaders[index])
        weight = np.exp(by_size[index, lead] - by_size[index, lead].max())
        size = float((weight * self.causes[index].sizes_mm).sum() / weight.sum())
        others = np.where(np.arange(share.size) == index, 0.0, share)
        rival = int(others.argmax())
        return _Pick(
            index=index,
            span=self.spans[lead],
            size=size,
            gain=float(families[index]),
            support=float(log_sum(by_size[index, lead]) - np.log(weight.size)),
            confidence=float(min(share[index], 0.99)),
            rival=rival if others[rival] >= _RIVAL else None,
            rival_confidence=float(others[rival]),
        )

    def with_picks(self, profile: FloatArray, picks: list[_Pick]) -> FloatArray:
        """Return the profile with causes put in."""
        out = profile.copy()
        for pick in picks:
            out[pick.span[0] : pick.span[1]] += pick.size * self.causes[pick.index].shape
        return out

    def interval(self, profile: FloatArray, pick: _Pick) -> tuple[float, float, float]:
        """Return low end, middle and high end of a pick's size beside the others."""
        cause = self.causes[pick.index]
        sizes = np.linspace(0.5 * cause.sizes_mm[0], 1.15 * cause.sizes_mm[-1], _FINE_SIZES)
        part = profile[pick.span[0] : pick.span[1]]
        profiles = np.repeat(profile[:, None, :], sizes.size, axis=1)
        profiles[pick.span[0] : pick.span[1]] = part[:, None, :] + np.outer(sizes, cause.shape)
        log_p = self.model.over_places(self.model.log_evidence(profiles).sum(axis=1))
        density = np.exp(_SIZE_TEMPER * (log_p - log_p.max()))
        share = np.cumsum(density) / density.sum()
        low, middle, high = np.interp([0.05, 0.5, 0.95], share, sizes)
        return float(low), float(middle), float(high)


def _spans(n: int, causes: tuple[Cause, ...]) -> tuple[tuple[Span, ...], FloatArray]:
    """Return every run of neighbouring strings, and ln of its share for each cause."""
    spans = tuple((a, b) for a in range(n) for b in range(a + 1, n + 1))
    kinds = np.array([2 if b - a == n else 0 if b - a == 1 else 1 for a, b in spans])
    counts = np.array([(kinds == kind).sum() for kind in kinds])
    shares = np.array([c.span_shares for c in causes])[:, kinds] / counts
    with np.errstate(divide="ignore"):
        return spans, np.log(shares)


def _search(model: StrikeModel, causes: tuple[Cause, ...]) -> _Search:
    spans, log_share = _spans(model.setup.heights_mm.shape[0], causes)
    changes = np.stack([np.outer(c.sizes_mm, c.shape) for c in causes])
    return _Search(model, causes, spans, log_share, changes)


def _picks(search: _Search, profile: FloatArray) -> list[_Pick]:
    """Return the causes taken in, best first."""
    picks: list[_Pick] = []
    while len(picks) < _MOST_CAUSES:
        pick = search.best(search.with_picks(profile, picks))
        if pick.gain < _LEAST_GAIN or pick.support < _LEAST_SUPPORT:
            break
        picks.append(pick)
    return picks


def _widespread(
    evidence: Evidence, explained: npt.NDArray[np.bool_]
) -> tuple[tuple[int, ...], npt.NDArray[np.bool_]] | None:
    """Return strings and places of buzz that no cause explains, where there is much of it.

    It is what a level neck does when the strings lie low for the touch: a neck that is too
    straight or rises towards its end has been weighed against that among the causes.
    """
    heard = ~np.isnan(evidence.contact)
    left = heard & (np.nan_to_num(evidence.contact) >= _WIDE_CONTACT) & ~explained
    share = left.sum(axis=1) / np.maximum(heard.sum(axis=1), 1)
    strings = np.flatnonzero(share >= _WIDE_STRING_SHARE)
    if strings.size == 0 or left[strings].sum() < _WIDE_PLACES:
        return None
    where = np.zeros_like(left)
    where[strings] = left[strings]
    return tuple(int(s) + 1 for s in strings), where


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
    search = _search(model, causes_of(setup, lowest=lowest))
    level = setup.profile_mm
    picks = _picks(search, level)
    full = search.with_picks(level, picks)
    heard = np.nan_to_num(evidence.contact) >= 0.5
    striking = model.striking(full, given=full)
    explained = np.zeros_like(heard)
    found = []
    for pick in picks:
        others = search.with_picks(level, [p for p in picks if p is not pick])
        low, size, high = search.interval(others, pick)
        rise = striking - model.striking(others, given=full)
        raised = rise > _EXPLAINS
        places = np.argwhere(
            raised & (evidence.struck if (raised & evidence.struck).any() else heard)
        )
        if places.size == 0:
            continue
        found.append(
            Found(
                cause=search.causes[pick.index],
                strings=tuple(range(pick.span[0] + 1, pick.span[1] + 1)),
                confidence=pick.confidence,
                size_mm=size,
                low_mm=low,
                high_mm=high,
                places=tuple((int(s) + 1, int(f)) for s, f in places),
                rival=None if pick.rival is None else search.causes[pick.rival],
                rival_confidence=pick.rival_confidence,
            )
        )
        explained[tuple(places.T)] = True
    return Explanation(found=tuple(found), wide=_widespread(evidence, explained))
