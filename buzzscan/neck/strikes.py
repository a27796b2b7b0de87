"""How likely what was heard is, for any heights of the frets under the strings.

Conventions
-----------
A note touches a fret as it is picked, and goes on striking one, when the strength of its pluck
exceeds a threshold each (`buzzscan.neck.thresholds`). Strengths and thresholds are natural logs; a
strength is counted from the middle threshold of a touch on the level neck, for a pluck away from it
(`buzzscan.neck.thresholds.middle_touches`). The strength of a string
is unknown and summed over, and so are the circumstances that all strings share: how hard the player
picks, where and which way, and how long strikes last. How much harder or softer than that one pick
was, its level tells. Either happens with probability Φ((strength − threshold)/slack);
far above its threshold a note chokes.

Evidence and thresholds run over (circumstances, strings, …), profiles over (strings, …, frets + 2):
the nut slot, every fret and the saddle in one array, heights in mm.

Limits
------
One strength per string and take; what levels do not tell of uneven picks is in the slack. Places
are independent given the circumstances; the errors of the model that neighbouring ones share are
not known here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from buzzscan.neck.clearance import Setup
from buzzscan.neck.evidence import MOST_HARDER, Evidence
from buzzscan.neck.thresholds import (
    LAST_ODDS,
    SENSES,
    Laws,
    Thresholds,
    laws_on,
    middle_touches,
    thresholds,
)

__all__ = ["StrikeModel", "log_sum", "strike_model"]

FloatArray = npt.NDArray[np.float64]

_HAND, _HAND_SPREAD = (-0.76, -0.41, -0.06, 0.29), 0.18
"""Strength of the player's hand on all strings (at 0, picking away from the neck, half of a level
one is touched: a hard one comes close), and how the strings scatter about it: gauges differ."""
_HAND_ODDS_AWAY, _HAND_ODDS_TOWARDS = (0.33, 0.63, 0.035, 0.005), (0.34, 0.66, 1e-9, 1e-9)
"""How often each is. A pick that pushes the string towards the neck is stopped by it: the hardest
hands cannot push so far."""
_ODDS = np.concatenate(
    [
        np.multiply.outer(
            _HAND_ODDS_TOWARDS if sense.towards else _HAND_ODDS_AWAY,
            np.outer(sense.odds, LAST_ODDS),
        )
        for sense in SENSES
    ],
    axis=1,
)
_LOG_SHARE = np.log(_ODDS.ravel())
_SLACK, _TOUCH_SLACK = 0.28, 0.15
"""Standard deviation of ln(strength/threshold) of what goes on striking, and of a touch: what
levels leave untold of uneven picking, frets uneven by a hair, and for the first how long what
strikes goes on doing so."""
_FALSE_ALARM, _MISS = 0.002, 0.015
"""Contact heard where there is none, and missed where there is, per look."""
_FALSE_TOUCH = 0.002
"""Touches that no strength explains, and missing ones."""
_LIKE_TOUCHES = 0.05
"""Share of the free notes that start as if they touched, beyond what is usual on their string: no
two picks are alike. Shares of a thirtieth to an eighth serve all models about as well."""
_SURE = 0.997
_LEAST_LIKELY = 2e-3
"""No place is less likely than this, whatever the heights: the laws are no better known."""
_CHOKE_AT, _CHOKE_SLACK, _CHOKE_HEARD = 0.9, 0.5, 0.4
"""ln(strength/threshold) of a strike about which a note chokes, its scatter, and how many of those
that choke are told to (found on simulated strings: a choke that still rings a while is told as
contact)."""
_PLAIN_AT, _PLAIN_SLACK = 0.6, 0.7
"""ln(strength/threshold) from which a strike is a plain one, as likely as not, and its scatter: a
string that hardly reaches a fret is heard to strike it, but not as one that lies on it."""
_PLAIN_PLACES = 8.0
"""How plain strikes are counts in full for so many places that strike: a sound that makes all of
them plainer, or less plain, is the guitar's or the recording's."""
_STRENGTHS = np.arange(-1.3, 0.91, 0.15)
_STEP, _STEPS = 0.04, 75
_HARDER_STEPS = round(MOST_HARDER / _STEP)
"""Grid of thresholds, relative to the string's middle one: so many steps to either side, and beyond
them those by which a pick was harder or softer."""


def log_sum(values: FloatArray, axis: int = 0) -> FloatArray:
    """Return ln Σ exp along an axis, without the overhead of the general function."""
    top = np.maximum(values.max(axis=axis), -1e300)
    rest = np.exp(values - np.expand_dims(top, axis)).sum(axis=axis)
    return np.asarray(top + np.log(rest), np.float64)


class _Look(NamedTuple):
    """One look at every place of a neck.

    Parameters
    ----------
    of_strike, of_touch
        Likelihood of what was heard as a sum of two parts, over the thresholds of a strike and of a
        touch, and strengths, shape (frets + 1, strings · thresholds, strengths).
    rows
        Row of a string's middle threshold in these, shape (strings, frets + 1).
    harder
        By how many steps of the thresholds it was picked harder, shape (strings, frets + 1); the
        rows take it off.
    """

    of_strike: FloatArray
    of_touch: FloatArray
    rows: npt.NDArray[np.intp]
    harder: npt.NDArray[np.intp]

    def at(
        self, fret: int, strike: npt.NDArray[np.intp], touch: npt.NDArray[np.intp]
    ) -> FloatArray:
        """Return the likelihood at a fret, (places, lasting, strings, …, strengths).

        Parameters
        ----------
        strike, touch
            Steps of the thresholds from the middle, (places, lasting, strings, …).
        """
        row = self.rows[:, fret].reshape(-1, *(1,) * (strike.ndim - 3))
        likely: FloatArray = self.of_strike[fret].take(strike + row, axis=0)
        likely += self.of_touch[fret].take(touch + row, axis=0)
        # strikes scatter more than touches: where both begin at once, by less than nothing
        return np.maximum(likely, 0.0, out=likely)


@dataclass(frozen=True, slots=True)
class StrikeModel:
    """Likelihood of the evidence for any heights.

    Parameters
    ----------
    setup
        Heights of the level neck.
    laws
        What geometry leaves open of the thresholds of a strike and of a touch.
    middle
        Middle threshold of a touch of each string on the level neck, shape (places, 1, strings).
    looks
        What was heard, the harder picks first; where one tells nothing anywhere it is left out.
    strength_prior
        Prior of the strengths for each hand, shape (strengths, hands).
    """

    setup: Setup
    laws: Laws
    middle: FloatArray
    looks: tuple[_Look, ...]
    strength_prior: FloatArray

    def thresholds(self, profile: FloatArray) -> Thresholds:
        """Return ln thresholds for profiles (strings, …, frets + 2)."""
        return thresholds(self.setup, self.laws, profile)

    def log_likelihood(self, profile: FloatArray) -> FloatArray:
        """Return ln P(evidence | strength) of profiles: (shapes, strings, …, strengths).

        A shape is a place of the pluck and how long strikes last.
        """
        between = (1,) * (profile.ndim - 2)
        middle = self.middle.reshape(*self.middle.shape, *between, 1)
        strike, touch = (_steps(t - middle) for t in self.thresholds(profile))
        # no product over the frets of a neck is too small for a float
        out: FloatArray = np.ones((*strike.shape[:-1], _STRENGTHS.size))
        for fret in range(profile.shape[-1] - 1):
            place, *others = (
                look.at(fret, strike[..., fret], touch[..., fret]) for look in self.looks
            )
            for likely in others:
                place *= likely
            out *= np.maximum(place, _LEAST_LIKELY, out=place)
        return np.log(out.reshape(-1, *out.shape[2:]))

    def log_evidence(self, profile: FloatArray) -> FloatArray:
        """Return ln P(evidence) of profiles, strengths summed over: (circumstances, strings, …)."""
        ll = self.log_likelihood(profile)
        top = ll.max(axis=-1, keepdims=True)
        of_hand = top + np.log(np.exp(ll - top) @ self.strength_prior)
        return np.asarray(np.moveaxis(of_hand, -1, 0).reshape(-1, *ll.shape[1:-1]))

    def striking(self, profile: FloatArray, *, given: FloatArray) -> FloatArray:
        """Return P(contact) per string and fret for a profile (strings, frets + 2).

        That of the harder picks at each place; strength and circumstances are weighed as the
        evidence has them for the profile `given`.
        """
        ll = self.log_likelihood(given)
        weight = np.exp(ll - ll.max(axis=-1, keepdims=True))[..., None] * self.strength_prior
        shared = _LOG_SHARE + self.log_evidence(given).sum(axis=1)
        shared = np.exp(shared - log_sum(shared)).reshape(-1, ll.shape[0]).T
        weight *= shared[:, None, None, :] / weight.sum(axis=-2, keepdims=True)
        strike = self.thresholds(profile).strike - self.middle[..., None]
        strike -= _STEP * self.looks[0].harder
        strike = strike.reshape(-1, *strike.shape[2:])
        strikes = ndtr((_STRENGTHS[:, None] - strike[:, :, None, :]) / _SLACK)
        return np.asarray(np.einsum("dsgt,dsgf->sf", weight, strikes), np.float64)

    @property
    def log_circumstances(self) -> FloatArray:
        """Return ln prior of the circumstances, shape (circumstances,)."""
        return np.asarray(_LOG_SHARE, np.float64)

    @staticmethod
    def over_circumstances(log_evidence: FloatArray) -> FloatArray:
        """Return ln P summed over the circumstances (first axis)."""
        return log_sum(log_evidence + _LOG_SHARE.reshape((-1,) + (1,) * (log_evidence.ndim - 1)))


def _steps(relative: FloatArray) -> npt.NDArray[np.intp]:
    """Return how many steps of their grid relative thresholds are from the middle."""
    return np.clip(np.rint(relative / _STEP), -_STEPS, _STEPS).astype(np.intp)


def _look(evidence: Evidence, index: int) -> _Look:
    """Return one look at every place.

    With c the probability of contact as heard, r how much likelier the attack is with a touch and
    p how much likelier the sound is of a strike as plain as its strength makes it, what is heard of
    a place that does not choke is as likely as c·p·P(strikes) + (1 − c)·(r·P(touches, no more) +
    f·P(free)), which is a sum of what depends on either threshold; f is 1 but for the few free
    notes that start as if they touched.
    """
    most = _STEPS + _HARDER_STEPS
    over = _STRENGTHS[None, :] - _STEP * np.arange(-most, most + 1)[:, None]
    strike = _FALSE_ALARM + (1.0 - _FALSE_ALARM - _MISS) * ndtr(over / _SLACK)
    touch = _FALSE_TOUCH + (1.0 - 2.0 * _FALSE_TOUCH) * ndtr(over / _TOUCH_SLACK)
    choke = _CHOKE_HEARD * ndtr((over - _CHOKE_AT) / _CHOKE_SLACK)
    c = np.clip(evidence.contact[index], 1.0 - _SURE, _SURE)[..., None, None]
    ratio = np.exp(evidence.touched[index])[..., None, None]
    plain = ndtr((over - _PLAIN_AT) / _PLAIN_SLACK)
    heard = evidence.plain[index][..., None, None]
    strikes = max(float(np.nansum(evidence.contact[index])), _PLAIN_PLACES)
    as_plain = (2.0 * (heard * plain + (1.0 - heard) * (1.0 - plain))) ** (_PLAIN_PLACES / strikes)
    of_strike = strike * (c * as_plain * (1.0 - choke) - (1.0 - c) * ratio)
    free = 1.0 + _LIKE_TOUCHES * (ratio - 1.0)
    of_touch = (1.0 - c) * (free + touch * (ratio - free))
    choked, unknown = evidence.choked[..., None, None], np.isnan(c)
    of_strike = np.where(unknown, 0.0, np.where(choked, choke + _FALSE_ALARM, of_strike))
    of_touch = np.where(unknown, 1.0, np.where(choked, 0.0, of_touch))
    harder = np.clip(np.rint(evidence.harder[index] / _STEP), -_HARDER_STEPS, _HARDER_STEPS)
    harder = harder.astype(np.intp)
    first = np.arange(len(harder))[:, None] * len(over)
    of_strike, of_touch = (
        np.ascontiguousarray(part.swapaxes(0, 1)).reshape(part.shape[1], -1, _STRENGTHS.size)
        for part in (of_strike, of_touch)
    )
    return _Look(of_strike, of_touch, first + most - harder, harder)


def strike_model(setup: Setup, evidence: Evidence, *, lowest: int) -> StrikeModel:
    """Return the model for one neck; `lowest` is the lowest fret that sounds."""
    laws = laws_on(setup)
    told = [i for i, look in enumerate(evidence.contact) if not np.isnan(look).all()]
    prior = np.exp(-0.5 * ((_STRENGTHS[:, None] - np.array(_HAND)) / _HAND_SPREAD) ** 2)
    return StrikeModel(
        setup=setup,
        laws=laws,
        middle=middle_touches(setup, laws, lowest=lowest),
        looks=tuple(_look(evidence, i) for i in told or [0]),
        strength_prior=prior / prior.sum(axis=0),
    )
