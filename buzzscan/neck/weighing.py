"""Every cause under every run of strings, weighed against what was heard.

Conventions
-----------
A hypothesis is a cause under a span of neighbouring strings (first, one past the last; from 0).
Log odds are against "no such cause" on the neck it is added to; for all but a nut slot that is a
neck whose frets scatter as those of any dressed one. Arrays run over (circumstances,
strings, causes, sizes) and (causes, spans, sizes).

Limits
------
One cause at a time is weighed beside those already in the profile; two that hide each other are
found one after the other or not at all.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from buzzscan.neck.causes import FRET_KINDS, Cause
from buzzscan.neck.strikes import StrikeModel, log_sum
from buzzscan.neck.verdict import FindingKind

__all__ = ["MOST_SURE", "UNEVEN_MM", "Pick", "Search", "Weighed", "search_over"]

FloatArray = npt.NDArray[np.float64]
Span = tuple[int, int]

_RIVAL = 0.08
"""Probability from which a rival is worth naming."""
_NEVER = -1e6
"""Log odds of a shape that another one of its kind stands for."""
UNEVEN_MM, _UNEVEN_SHARES = np.array([0.012, 0.025, 0.04]), np.array([0.23, 0.1, 0.016])
"""By how much a fret of a dressed neck stands above its line, or below it, and in which share of
necks it does either; else it lies on it. That is a normal scatter of 0.015 mm (common practice, no
source): a fret that is off by no more is no fault, even where a hard hand strikes it first."""
MOST_SURE = 0.99
"""No model of a neck is surer than this."""


@dataclass(frozen=True, slots=True)
class Pick:
    """A cause taken in; `support` is what the evidence alone adds to its log odds."""

    index: int
    span: Span
    size: float
    gain: float
    support: float


@dataclass(frozen=True)
class Weighed:
    """All hypotheses on one profile.

    Parameters
    ----------
    causes, spans
        What was weighed.
    scores
        Log odds with their prior, shape (causes, spans).
    by_size
        Log likelihood ratios, against the same as log odds are, shape (causes, spans, sizes).
    gain
        Log likelihood ratio of each string alone, shape (circumstances, strings, causes, sizes).
    base
        Log evidence of the profile with the circumstances' prior, shape (circumstances,).
    """

    causes: tuple[Cause, ...]
    spans: tuple[Span, ...]
    scores: FloatArray
    by_size: FloatArray
    gain: FloatArray
    base: FloatArray

    @cached_property
    def leaders(self) -> npt.NDArray[np.intp]:
        """Return the best span of each cause."""
        return np.asarray(self.scores.argmax(axis=1))

    @cached_property
    def families(self) -> FloatArray:
        """Return log odds per cause with all its spans and, in the best one, its other shapes."""
        own = np.array(
            [log_sum(self.scores[i][self._beside(j)]) for i, j in enumerate(self.leaders)]
        )
        names = [c.name for c in self.causes]
        for name in {n for n in names if names.count(n) > 1}:
            shapes = [i for i, n in enumerate(names) if n == name]
            best = max(shapes, key=lambda i: own[i])
            together = log_sum(own[shapes])
            own[shapes] = _NEVER
            own[best] = together
        return own

    def _beside(self, lead: int) -> npt.NDArray[np.bool_]:
        """Return which spans share a string with one."""
        first, last = np.asarray(self.spans).T
        span = self.spans[lead]
        return np.asarray((first < span[1]) & (last > span[0]))

    def _again(self, index: int, taken: Sequence[Pick]) -> bool:
        """Whether a cause is one taken already, under one of the same strings."""
        first, last = self.spans[self.leaders[index]]
        return any(
            self.causes[index].name == self.causes[t.index].name
            and first < t.span[1]
            and t.span[0] < last
            for t in taken
        )

    def pick(
        self, taken: Sequence[Pick] = (), *, barred: Collection[FindingKind] = frozenset()
    ) -> Pick:
        """Return the best cause, taken on its own; more of one taken already is no other.

        Parameters
        ----------
        barred
            Kinds that are out of the question.
        """
        out = [cause.kind in barred or self._again(i, taken) for i, cause in enumerate(self.causes)]
        odds = np.where(out, _NEVER, self.families)
        index = int(odds.argmax())
        lead = int(self.leaders[index])
        sizes = self.by_size[index, lead]
        weight = np.exp(sizes - sizes.max())
        return Pick(
            index=index,
            span=self.spans[lead],
            size=float((weight * self.causes[index].sizes_mm).sum() / weight.sum()),
            gain=float(odds[index]),
            support=float(log_sum(sizes) - np.log(weight.size)),
        )

    def rivalry(self, index: int, beside: Weighed) -> tuple[float, int | None, float]:
        """Return the probability of a cause, its next rival worth naming, and that one's.

        Parameters
        ----------
        index
            The cause.
        beside
            All hypotheses on the same profile with this cause put in. What it takes away from
            another cause there, the two compete for; a fault elsewhere keeps what it has.
        """
        lost = np.minimum(beside.families - self.families, 0.0)
        with np.errstate(divide="ignore"):
            odds = self.families + np.log(-np.expm1(lost))
        odds[index] = self.families[index]
        share = np.exp(odds - log_sum(np.append(odds, 0.0)))
        others = np.where(np.arange(share.size) == index, 0.0, share)
        rival = int(others.argmax())
        named = rival if others[rival] >= _RIVAL else None
        return float(min(share[index], MOST_SURE)), named, float(others[rival])

    def membership(self, index: int) -> FloatArray:
        """Return the probability that a cause concerns each string, shape (strings,)."""
        scores = np.where(self._beside(int(self.leaders[index])), self.scores[index], -np.inf)
        weight = np.exp(scores - scores.max())
        strings = np.arange(self.gain.shape[1])
        inside = [(strings >= a) & (strings < b) for a, b in self.spans]
        return np.asarray(weight @ np.array(inside, np.float64) / weight.sum())

    def string_ratios(self, index: int) -> FloatArray:
        """Return the log likelihood ratio of each string's own notes for a cause, shape (strings,).

        That is against frets that lie level to a hair. Size and circumstances are weighed as the
        other strings of the cause have them.
        """
        first, last = self.spans[int(self.leaders[index])]
        gain = self.gain[:, :, index, :]
        total = self.base[:, None] + gain[:, first:last].sum(axis=1)
        out = []
        for string in range(gain.shape[1]):
            rest = total - gain[:, string] if first <= string < last else total
            out.append(log_sum((rest + gain[:, string]).ravel()) - log_sum(rest.ravel()))
        return np.array(out)


@dataclass(frozen=True, slots=True)
class Search:
    """The causes of one neck, ready to be weighed on any profile.

    `at_frets` are the indices of the faults at one fret; in their order are `uneven`, what a fret
    that is off by a little changes, and `alike`, which of them is most like each.
    """

    model: StrikeModel
    causes: tuple[Cause, ...]
    spans: tuple[Span, ...]
    log_share: FloatArray
    changes: FloatArray
    at_frets: npt.NDArray[np.intp]
    uneven: FloatArray
    alike: npt.NDArray[np.intp]

    def weigh(self, profile: FloatArray) -> Weighed:
        """Return all hypotheses weighed as additions to a profile (strings, frets + 2)."""
        base = self.model.log_evidence(profile)
        gain = self.model.log_evidence(profile[:, None, None, :] + self.changes)
        gain -= base[:, :, None, None]
        by_size = self._over_spans(base, gain)
        prior = np.array([c.log_prior for c in self.causes])[:, None] + self.log_share
        by_size -= self._uneven(profile, base)[:, :, None]
        return Weighed(
            causes=self.causes,
            spans=self.spans,
            scores=log_sum(by_size, axis=-1) - np.log(by_size.shape[-1]) + prior,
            by_size=by_size,
            gain=gain,
            base=base.sum(axis=1) + self.model.log_circumstances,
        )

    def _over_spans(self, base: FloatArray, gain: FloatArray) -> FloatArray:
        """Return log likelihood ratios of spans of strings, (causes, spans, sizes).

        Parameters
        ----------
        base, gain
            Log evidence of a profile, (circumstances, strings), and what every change adds to it,
            (circumstances, strings, causes, sizes).
        """
        sums = np.concatenate([np.zeros_like(gain[:, :1]), np.cumsum(gain, axis=1)], axis=1)
        first, last = np.asarray(self.spans).T
        of_spans = sums[:, last] - sums[:, first]
        total = base.sum(axis=1)
        by_size = self.model.over_circumstances(total[:, None, None, None] + of_spans)
        return np.moveaxis(by_size - self.model.over_circumstances(total), 0, 1)

    def _uneven(self, profile: FloatArray, base: FloatArray) -> FloatArray:
        """Return log likelihood ratios of frets that are uneven as any are, (causes, spans).

        That is what a fault at one fret competes with: either of the two frets whose faults sound
        alike may be off by a little. A cause of the setup competes with any fret that is, as it
        explains a few places around one as well. 0 for a slot.
        """
        out = np.zeros((len(self.causes), len(self.spans)))
        if not self.at_frets.size:
            return out
        gain = self.model.log_evidence(profile[:, None, None, :] + self.uneven)
        gain -= base[:, :, None, None]
        off = log_sum(self._over_spans(base, gain) + np.log(_UNEVEN_SHARES), axis=-1)
        level = np.full_like(off, np.log1p(-2.0 * _UNEVEN_SHARES.sum()))
        out[self.at_frets] = log_sum(np.stack([level, off, off[self.alike]]))
        of_setup = [i for i, cause in enumerate(self.causes) if cause.of_setup]
        out[of_setup] = np.maximum(out[self.at_frets].max(axis=0), 0.0)
        return out

    def with_picks(self, profile: FloatArray, picks: list[Pick]) -> FloatArray:
        """Return the profile with causes put in."""
        out = profile.copy()
        for pick in picks:
            out[pick.span[0] : pick.span[1]] += pick.size * self.causes[pick.index].shape
        return out


def _alike(causes: Sequence[Cause]) -> npt.NDArray[np.intp]:
    """Return for each fault at a fret the one most like it, where there is one, else itself.

    A fret that is high sounds like the one before it, low.
    """
    names = {cause.name: i for i, cause in enumerate(causes)}
    out = []
    for (kind, fret), i in names.items():
        high = kind == "high fret"
        out.append(names.get(("low fret", fret - 1) if high else ("high fret", fret + 1), i))
    return np.array(out, np.intp)


def search_over(model: StrikeModel, causes: tuple[Cause, ...]) -> Search:
    """Return the search for one neck, with every run of neighbouring strings as a span."""
    n = model.setup.heights_mm.shape[0]
    spans = tuple((a, b) for a in range(n) for b in range(a + 1, n + 1))
    kinds = np.array([2 if b - a == n else 0 if b - a == 1 else 1 for a, b in spans])
    counts = np.array([(kinds == kind).sum() for kind in kinds])
    shares = np.array([c.span_shares for c in causes])[:, kinds] / counts
    with np.errstate(divide="ignore"):
        log_share = np.log(shares)
    changes = np.stack([np.outer(c.sizes_mm, c.shape) for c in causes])
    at_frets = np.array([i for i, c in enumerate(causes) if c.kind in FRET_KINDS], np.intp)
    faults = [causes[i] for i in at_frets]
    return Search(
        model=model,
        causes=causes,
        spans=spans,
        log_share=log_share,
        changes=changes,
        at_frets=at_frets,
        uneven=np.array([np.outer(UNEVEN_MM, c.shape) for c in faults]),
        alike=_alike(faults),
    )
