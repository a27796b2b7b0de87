"""The causes that best explain where the strings strike, by geometry and probability.

Conventions
-----------
Causes are added one at a time while they explain more than they cost (their prior), so one
cause for many places beats many causes. A cause's probability is against those that compete
with it for the same notes, and against none; its strings and its size are told beside all the
other causes found.

Limits
------
What no height explains (a loose part that rattles) is left unexplained. A high fret and a low
fret before it sound alike when little else strikes; the rival is then named.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.neck.causes import FRET_KINDS, Cause, causes_of
from buzzscan.neck.clearance import Setup
from buzzscan.neck.evidence import Evidence
from buzzscan.neck.strikes import strike_model
from buzzscan.neck.verdict import FindingKind
from buzzscan.neck.weighing import UNEVEN_MM, Pick, Search, Weighed, search_over

__all__ = ["LEFT_OVER", "WIDE_SURE", "Explanation", "Found", "Wide", "explain", "scaled"]

FloatArray = npt.NDArray[np.float64]

_LEAST_GAIN = -1.6
"""Log odds from which a cause is taken in: one in six is worth being weighed beside others."""
_LEAST_SURE = 0.3
"""Confidence from which a cause is told: of those that were given less, one in four was true on
simulated necks, one in fifty on those of simulations that share nothing with ours."""
_LEAST_SUPPORT = 0.7
"""Log odds that the evidence itself must add to the prior."""
_MOST_CAUSES = 5
_EXPLAINS = 0.15
_EXPLAINS_LITTLE, _EXPLAINS_TIMES = 0.01, 6.0
"""A cause explains a place when it raises its probability of contact by this much; or by little,
but to several times what it is without."""
LEFT_OVER = 0.4
"""How much of its odds a cause that concerns the whole neck keeps when it explains only what a
fault at one fret leaves: that is as often a hard touch (found on simulated necks)."""
_TOUCH_SURE = 0.75
"""Confidence from which a fret or a slot is named although its notes only touch as they are picked;
and a cause that concerns the whole neck, although one string alone speaks for it."""
_WIDE_CONTACT = 0.6
_WIDE_STRING_SHARE, _WIDE_PLACES = 0.2, 8
"""Share of a string's places, and places in all, from which buzz is widespread."""
_TOUCH_SHARE, _TOUCH_SPREAD = 0.25, 0.04
"""Share of all places that strike at which low action is as likely as a hard touch (a level neck
under a hard touch strikes in up to a quarter; found on simulated necks)."""
_SELDOM = 0.05
"""Share of the other strings' places below which they are free: a touch is shared by all."""
WIDE_SURE = (0.1, 0.9)
"""No widespread buzz is less likely, or more, to be the action."""
_STRAIGHT_PLACES, _STRAIGHT_STRINGS = 3, 2
"""Places and strings from which buzz counts as widespread on a neck measured too straight: what
no other cause explains has one there already."""
_RARER = 1.0
"""How common a height is falls with this power of it: twice as high is half as common (common
practice, no source)."""
_SIZE_TEMPER = 0.65
"""Places share errors of the model, which weigh more on a size than on which cause it is (from
here intervals hold what they say, on simulated necks)."""
_FINE_SIZES, _FINE_RANGE = 80, (0.5, 1.8)
"""How finely and how far, as shares of the least and the largest size considered; a fret that is
off by less than any dressed one may be is no fault."""
_TELLS = float(np.log(2.0))
"""A string's own notes speak for or against a cause from a likelihood ratio of two on."""
_TOUCH_REACH = 3
"""A high fret is touched from this many frets behind it and hardly from further: by similar
triangles, half the clearance to the next fret is a sixth of that to the third."""
_MAY_BELONG = 0.2
_LEAST_PLACES = 2
"""Strings that lie low, or a neck that is straight or rises, strike in more places than one, and
not only as they are picked: any level neck is touched by a hard hand."""
_LOW_SHARE, _LOW_SHARE_OF_FEW, _FEW_STRINGS = 0.08, 0.2, 2
"""Share of the places of strings that lie low that strike, at the least: of one or two strings
alone a larger one, as much that is wrong with a string is none of its action (on simulated takes
of six models low strings struck in a tenth of their places and more)."""
_STRIKES = 0.5
"""Contact from here on is likelier than none."""
_LEAST_STRINGS = 2
"""The neck bows and rises under all strings: one alone speaks of itself, not of the neck."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One cause found.

    Parameters
    ----------
    cause, strings
        What and where; numbers of the strings whose own notes speak for it.
    untold
        Strings that it may concern as well, whose notes tell neither way.
    confidence
        Probability against its rivals and against no cause.
    size_mm, low_mm, high_mm
        Middle and 90 % interval of its size, in mm of the assumed setup.
    places
        (string, fret) that it explains.
    rival, rival_confidence
        The next likely cause for the same places, if it is worth naming.
    touched
        Further (string, fret) that it brings near the frets: they touch one in their attack only.
    """

    cause: Cause
    strings: tuple[int, ...]
    untold: tuple[int, ...]
    confidence: float
    size_mm: float
    low_mm: float
    high_mm: float
    places: tuple[tuple[int, int], ...]
    rival: Cause | None
    rival_confidence: float
    touched: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Wide:
    """Buzz in many places that no cause explains: low action, or a hard touch.

    Parameters
    ----------
    strings, places
        Numbers of the strings, and (string, fret) of the buzz.
    confidence
        Probability that it is the action.
    """

    strings: tuple[int, ...]
    places: tuple[tuple[int, int], ...]
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """All causes found, as they were taken in, and the buzz that is left and widespread."""

    found: tuple[Found, ...]
    wide: Wide | None


@dataclass(frozen=True, slots=True)
class _Taken:
    """A cause taken in, with its probability and its rival."""

    pick: Pick
    confidence: float
    rival: int | None
    rival_confidence: float


def _taken(
    search: Search, level: FloatArray, weighed: Weighed, *, barred: Collection[FindingKind]
) -> list[_Taken]:
    """Return the causes taken in on a level neck as weighed, best first, none of a barred kind."""
    picks: list[Pick] = []
    taken = []
    while len(picks) < _MOST_CAUSES:
        pick = weighed.pick(picks, barred=barred)
        left_over = bool(picks) and search.causes[pick.index].whole_neck
        gain = pick.gain + (float(np.log(LEFT_OVER)) if left_over else 0.0)
        if gain < _LEAST_GAIN or pick.support < _LEAST_SUPPORT:
            break
        picks.append(pick)
        beside = search.weigh(search.with_picks(level, picks))
        sure, rival, rival_sure = weighed.rivalry(pick.index, beside)
        sure = scaled(sure, LEFT_OVER) if left_over else sure
        taken.append(_Taken(pick, sure, rival, rival_sure))
        weighed = beside
    return taken


def scaled(probability: float, factor: float) -> float:
    """Return a probability whose odds are scaled."""
    return factor * probability / (1.0 - probability + factor * probability)


def _interval(search: Search, profile: FloatArray, pick: Pick) -> tuple[float, float, float]:
    """Return low end, middle and high end of a pick's size beside the others."""
    cause = search.causes[pick.index]
    least, most = _FINE_RANGE
    low = least * cause.sizes_mm[0]
    if cause.kind in FRET_KINDS:
        low = UNEVEN_MM[-1]
    sizes = np.linspace(low, most * cause.sizes_mm[-1], _FINE_SIZES)
    part = profile[pick.span[0] : pick.span[1]]
    profiles = np.repeat(profile[:, None, :], sizes.size, axis=1)
    profiles[pick.span[0] : pick.span[1]] = part[:, None, :] + np.outer(sizes, cause.shape)
    model = search.model
    log_p = model.over_circumstances(model.log_evidence(profiles).sum(axis=1))
    density = np.exp(_SIZE_TEMPER * (log_p - log_p.max())) / sizes**_RARER
    share = np.cumsum(density) / density.sum()
    low, middle, high = np.interp([0.05, 0.5, 0.95], share, sizes)
    return float(low), float(middle), float(high)


def _explained(striking: FloatArray, without: FloatArray) -> npt.NDArray[np.bool_]:
    raised = striking - without
    much = raised > _EXPLAINS
    return much | ((raised > _EXPLAINS_LITTLE) & (striking > _EXPLAINS_TIMES * without))


def _touched(
    evidence: Evidence, cause: Cause, strings: tuple[int, ...], told: npt.NDArray[np.bool_]
) -> tuple[tuple[int, int], ...]:
    """Return the places near a cause that touch a fret in their attack and are free after it."""
    frets = cause.frets
    if cause.kind == "high fret":
        frets = tuple(range(max(frets[0] - _TOUCH_REACH, 0), frets[0]))
    elif not cause.whole_neck:
        frets = ()
    near = np.zeros_like(told)
    near[np.ix_([s - 1 for s in strings], frets)] = True
    free = ~told & (evidence.all_contact < _STRIKES)
    places = np.argwhere(near & free & (evidence.all_touched > _TELLS))
    return tuple((int(s) + 1, int(f)) for s, f in places)


def _seldom(evidence: Evidence, strings: Sequence[int]) -> bool:
    """Whether some strings strike in fewer places than strings do that lie low.

    What strikes in one of two looks counts half: on few strings, contact that comes and goes is as
    often none.
    """
    mine = np.array(strings) - 1
    if mine.size > _FEW_STRINGS:
        return bool(evidence.struck[mine].sum() < _LOW_SHARE * evidence.judged[mine].sum())
    struck, judged = evidence.struck[mine], evidence.judged[mine]
    looks = evidence.contact[:, mine]
    told = np.maximum((~np.isnan(looks)).sum(axis=0), 1)
    firm = np.where(struck, (np.nan_to_num(looks) >= _STRIKES).sum(axis=0) / told, 0.0)
    return bool(firm.sum() < _LOW_SHARE_OF_FEW * judged.sum())


def _strings(weighed: Weighed, pick: Pick) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return numbers of the strings that speak for a cause, and of those that do not tell."""
    inside, ratio = weighed.membership(pick.index), weighed.string_ratios(pick.index)
    speak = (inside >= 0.5) & (ratio >= _TELLS)
    if not speak.any():
        speak[pick.span[0] + int(ratio[slice(*pick.span)].argmax())] = True
    untold = ~speak & (inside >= _MAY_BELONG) & (np.abs(ratio) < _TELLS)
    one, other = (tuple((np.flatnonzero(x) + 1).tolist()) for x in (speak, untold))
    return one, other


def _widespread(
    evidence: Evidence, explained: npt.NDArray[np.bool_], *, too_straight: bool
) -> Wide | None:
    """Return the buzz that no cause explains, where there is much of it.

    It is what a level neck does when the strings lie low for the touch: a neck that is too
    straight or rises towards its end has been weighed against that among the causes. On one that
    was measured too straight, and is not told by its sound, less of it is enough.
    """
    heard = evidence.judged
    strikes = evidence.struck & (evidence.all_contact >= _WIDE_CONTACT)
    left = strikes & ~explained
    share = left.sum(axis=1) / np.maximum(heard.sum(axis=1), 1)
    strings = np.flatnonzero(share >= _WIDE_STRING_SHARE)
    if left[strings].sum() < _WIDE_PLACES:
        strings = np.flatnonzero(left.any(axis=1))
        few = strings.size < _STRAIGHT_STRINGS or left.sum() < _STRAIGHT_PLACES
        if few or not too_straight:
            return None
    others = np.setdiff1d(np.arange(len(heard)), strings)
    left[others] = False
    free = others.size > 0 and strikes[others].sum() <= _SELDOM * heard[others].sum()
    concerned = strings if free else np.arange(len(heard))
    over = (strikes[concerned].sum() / heard[concerned].sum() - _TOUCH_SHARE) / _TOUCH_SPREAD
    return Wide(
        strings=tuple((strings + 1).tolist()),
        places=tuple((int(s) + 1, int(f)) for s, f in np.argwhere(left)),
        confidence=float(np.clip(1.0 / (1.0 + np.exp(-over)), *WIDE_SURE)),
    )


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
    heard_at = np.flatnonzero(evidence.judged.any(axis=0))
    highest = int(heard_at.max(initial=lowest))
    search = search_over(model, causes_of(setup, lowest=lowest, highest=highest))
    level = setup.profile_mm
    weighed = search.weigh(level)
    barred: set[FindingKind] = set()
    while True:
        taken = _taken(search, level, weighed, barred=barred)
        found, too_few = _found(search, evidence, taken, level)
        if not too_few:
            break
        # what is not told must not hide another cause, nor take its places
        barred |= too_few
    explained = np.zeros_like(evidence.struck)
    for one in found:
        for string, fret in one.places:
            explained[string - 1, fret] = True
    straight = setup.too_straight and all(f.cause.kind != "neck too straight" for f in found)
    wide = _widespread(evidence, explained, too_straight=straight)
    return Explanation(found=found, wide=wide)


def _found(
    search: Search, evidence: Evidence, taken: Sequence[_Taken], level: FloatArray
) -> tuple[tuple[Found, ...], set[FindingKind]]:
    """Return what is told of the causes taken in, and kinds that strike in too few places."""
    model = search.model
    full = search.with_picks(level, [t.pick for t in taken])
    heard = evidence.all_contact >= _STRIKES
    striking = model.striking(full, given=full)
    found: list[Found] = []
    too_few: set[FindingKind] = set()
    for one in taken:
        others = search.with_picks(level, [t.pick for t in taken if t is not one])
        raised = _explained(striking, model.striking(others, given=full))
        cause = search.causes[one.pick.index]
        told = raised & evidence.struck
        if cause.of_setup and np.count_nonzero(told) < _LEAST_PLACES:
            too_few.add(cause.kind)
            continue
        strings, untold = _strings(search.weigh(others), one.pick)
        own = told if cause.whole_neck else told[np.array(strings) - 1]
        few = cause.of_setup and np.count_nonzero(own) < _LEAST_PLACES
        if few or (cause.kind == "low action" and _seldom(evidence, strings)):
            too_few.add(cause.kind)
            continue
        if one.confidence < _LEAST_SURE:
            continue
        if not told.any() and cause.kind in FRET_KINDS:
            # each of its notes may be too faint to be called buzz
            told = raised & heard
        if not told.any() and one.confidence >= _TOUCH_SURE:
            told = raised & (evidence.all_touched > _TELLS)
        places = np.argwhere(told)
        if places.size == 0:
            continue
        low, size, high = _interval(search, others, one.pick)
        if cause.whole_neck:
            if len(strings) < _LEAST_STRINGS and one.confidence < _TOUCH_SURE:
                continue
            strings, untold = tuple(range(1, level.shape[0] + 1)), ()
        found.append(
            Found(
                cause=cause,
                strings=strings,
                untold=untold,
                confidence=one.confidence,
                size_mm=size,
                low_mm=low,
                high_mm=high,
                places=tuple((int(s) + 1, int(f)) for s, f in places),
                rival=None if one.rival is None else search.causes[one.rival],
                rival_confidence=one.rival_confidence,
                touched=_touched(evidence, cause, strings, told),
            )
        )
    return tuple(found), too_few
