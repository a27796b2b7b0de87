"""How likely what was heard is, for any heights of the frets under the strings.

Conventions
-----------
A note strikes when the strength of its pluck exceeds a threshold that geometry gives
(`buzzscan.neck.clearance`). Strength and threshold are natural logs; strength is unknown per
string and summed over. So are the circumstances that all strings share: how hard the player
picks, where, and how much more easily strikes are heard up the neck. A note strikes with
probability Φ((strength − threshold)/slack); far above its threshold it chokes.

Arrays run over (circumstances, strings, …, frets + 1). A profile is the nut slot, every fret
and the saddle in one array, heights in mm.

Limits
------
One strength per string and take; uneven picking is in the slack. Places are independent given the
circumstances; the errors of the model that neighbouring ones share are not known here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from buzzscan.neck.clearance import Setup, clearances, envelope
from buzzscan.neck.evidence import Evidence

__all__ = ["StrikeModel", "log_sum", "strike_model"]

FloatArray = npt.NDArray[np.float64]

_PLUCK_SHARES, _PLUCK_ODDS = (0.14, 0.24, 0.5), (0.4, 0.4, 0.2)
"""Pluck place as a share of the open string, from beside the bridge to over the neck, and how
often. The last also stands for a string let go from the board's side, whose near end swings
least."""
_EASIER_PER_OCTAVE, _EASIER_ODDS = (0.05, 0.2, 0.35), (0.25, 0.5, 0.25)
"""A note an octave up swings twice as often before it dies, and its strikes are heard at a
strength this much (ln) less, and how often by how much: it depends on strings and recording
(found on simulated strings, with frets, gauges and plucks varied)."""
_TOUCH, _TOUCH_ODDS, _TOUCH_SPREAD = (-1.42, -1.07, -0.67, -0.22), (0.25, 0.45, 0.25, 0.05), 0.26
"""Strength of the player's touch on all strings, as ln over the middle threshold of the level neck
(a hard player comes close), how often, and how the strings scatter about it: gauges differ."""
_ODDS = np.multiply.outer(_TOUCH_ODDS, np.outer(_PLUCK_ODDS, _EASIER_ODDS))
_LOG_SHARE = np.log(_ODDS.ravel())
_SLACK = 0.32
"""Standard deviation of ln(strength/threshold): picking uneven by 1–2 dB, frets by a hair, and how
long what strikes goes on doing so."""
_FALSE_ALARM, _MISS = 0.002, 0.15
"""Contact heard where there is none, and missed where there is (per place, both passes)."""
_TOUCH_SOONER, _TOUCH_SLACK = 0.65, 0.2
_TOUCH_LATER_PER_OCTAVE = 0.27
"""A string touches a fret within its attack at this much less strength (ln) than it takes to go on
striking; less of that an octave up, where what strikes is heard the easier and the first swing is
the same; and the scatter (found on simulated strings, heights known and touches as heard)."""
_SURE = 0.997
_LEVEL_RISE_DB, _LEVEL_SPREAD_DB, _LEVEL_RANGE = 9.0, 10.0, (-0.3, 1.2)
_LEVEL_START_DB, _ANY_LEVEL_DB = (-32.0, -14.0), 50.0
_LEAST_LEVEL_RATIO = 0.5
"""Level of the buzz over ln(strength/threshold), its scatter, and the level it starts from; a
false alarm comes at any level (found on simulated strings, bounds wide)."""
_CHOKE_AT, _CHOKE_SLACK, _CHOKE_HEARD = 1.1, 0.5, 0.4
"""ln(strength/threshold) about which a note chokes, the gap being then a third of the swing, its
scatter, and how many of those that choke are told to (found on simulated strings: a choke that
still rings a while is told as contact)."""
_LEAST_GAP_MM = 0.01
_STRENGTHS = np.arange(-2.0, 1.41, 0.2)
_NEAR_LIFT, _NEAR_FADE = 0.6, 1.5
"""The fret next to the held one is struck by this much more than the envelope says, the next but
one by this divided by the fade, and so on: there a strike turns the string's whole slope around
(found on simulated strings, with frets, gauges and plucks varied)."""
_STEP, _LOWEST, _HIGHEST = 0.04, -4.0, 2.4
"""Grid of thresholds, relative to the string's middle one."""


def log_sum(values: FloatArray, axis: int = 0) -> FloatArray:
    """Return ln Σ exp along an axis, without the overhead of the general function."""
    top = np.maximum(values.max(axis=axis), -1e300)
    rest = np.exp(values - np.expand_dims(top, axis)).sum(axis=axis)
    return np.asarray(top + np.log(rest), np.float64)


@dataclass(frozen=True, slots=True)
class StrikeModel:
    """Likelihood of the evidence for any heights.

    Parameters
    ----------
    setup
        Heights of the level neck.
    swing
        Envelope per pluck place, shape (places, frets + 1, frets + 1).
    middle
        Middle threshold of each string on the level neck, shape (shapes, strings); a shape of the
        thresholds is a place of the pluck and an ease up the neck.
    table
        ln likelihood of each place over thresholds and strengths, shape
        (strings, frets + 1, thresholds, strengths).
    strength_prior
        Prior of the strengths for each touch, shape (strengths, touches).
    """

    setup: Setup
    swing: FloatArray
    middle: FloatArray
    table: FloatArray
    strength_prior: FloatArray

    def thresholds(self, profile: FloatArray) -> FloatArray:
        """Return ln thresholds for profiles (strings, …, frets + 2), shapes first."""
        return _thresholds(self.setup, self.swing, profile)

    def log_likelihood(self, profile: FloatArray) -> FloatArray:
        """Return ln P(evidence | strength) of profiles: (shapes, strings, …, strengths)."""
        extra = (1,) * (profile.ndim - 2)
        middle = self.middle.reshape(self.middle.shape + extra + (1,))
        relative = np.clip(self.thresholds(profile) - middle, _LOWEST, _HIGHEST)
        index = np.rint((relative - _LOWEST) / _STEP).astype(np.intp)
        strings = np.arange(profile.shape[0]).reshape((1, -1, *extra))
        out: FloatArray = np.zeros((*index.shape[:-1], _STRENGTHS.size))
        for fret in range(profile.shape[-1] - 1):
            out += self.table[strings, fret, index[..., fret]]
        return out

    def log_evidence(self, profile: FloatArray) -> FloatArray:
        """Return ln P(evidence) of profiles, strengths summed over: (circumstances, strings, …)."""
        ll = self.log_likelihood(profile)
        top = ll.max(axis=-1, keepdims=True)
        of_touch = top + np.log(np.exp(ll - top) @ self.strength_prior)
        return np.asarray(np.moveaxis(of_touch, -1, 0).reshape(-1, *ll.shape[1:-1]))

    def striking(self, profile: FloatArray, *, given: FloatArray) -> FloatArray:
        """Return P(contact) per string and fret for a profile (strings, frets + 2).

        Strength and circumstances are weighed as the evidence has them for the profile `given`.
        """
        ll = self.log_likelihood(given)
        likely = np.exp(ll - ll.max(axis=-1, keepdims=True))[..., None] * self.strength_prior
        shared = _LOG_SHARE + self.log_evidence(given).sum(axis=1)
        shared = np.exp(shared - log_sum(shared)).reshape(-1, ll.shape[0]).T
        weight = likely / likely.sum(axis=-2, keepdims=True) * shared[:, None, None, :]
        relative = self.thresholds(profile) - self.middle[:, :, None]
        strike = ndtr((_STRENGTHS[:, None] - relative[:, :, None, :]) / _SLACK)
        return np.asarray(np.einsum("dsgt,dsgf->sf", weight, strike), np.float64)

    @property
    def log_circumstances(self) -> FloatArray:
        """Return ln prior of the circumstances, shape (circumstances,)."""
        return np.asarray(_LOG_SHARE, np.float64)

    @staticmethod
    def over_circumstances(log_evidence: FloatArray) -> FloatArray:
        """Return ln P summed over the circumstances (first axis)."""
        return log_sum(log_evidence + _LOG_SHARE.reshape((-1,) + (1,) * (log_evidence.ndim - 1)))


def _thresholds(setup: Setup, swing: FloatArray, profile: FloatArray) -> FloatArray:
    gaps = clearances(
        profile[..., :-1],
        profile[..., -1],
        places_mm=setup.places_mm,
        scale_mm=setup.scale_mm,
    )
    near = np.arange(swing.shape[-1])
    steps = near[None, :] - near[:, None]
    lift = 1.0 + np.where(steps > 0, _NEAR_LIFT * _NEAR_FADE ** (1.0 - steps), 0.0)
    with np.errstate(divide="ignore"):
        inverse = np.where(swing > 0.0, 1.0 / (swing * lift), np.inf)
    # a string that rests on a fret rings from there: one that it would lie deeper below does not
    # make it strike the sooner
    floor = _LEAST_GAP_MM * np.append(np.diagonal(inverse, 1, 1, 2), inverse[:, -1:, -1], axis=1)
    least = np.stack([(gaps * place).min(axis=-1) for place in inverse])
    least = np.maximum(least, floor.reshape(len(floor), *(1,) * (least.ndim - 2), -1))
    easier = np.multiply.outer(_EASIER_PER_OCTAVE, np.arange(swing.shape[-1]) / 12.0)
    easier = easier.reshape((1, -1) + (1,) * (least.ndim - 2) + easier.shape[1:])
    return np.asarray((np.log(least)[:, None] - easier).reshape(-1, *least.shape[1:]), np.float64)


def _level_ratio(evidence: Evidence, over: FloatArray) -> FloatArray:
    """Return how well the level of the buzz fits a strike, over a level from anywhere.

    The level at which strikes begin is taken from the take's own buzzing places, within bounds,
    so that a measure that reads a few dB low or high everywhere does no harm.
    """
    level = evidence.level_db
    heard = (np.nan_to_num(evidence.contact) >= 0.5) & ~np.isnan(level)
    if not heard.any():
        return np.ones((*level.shape, *over.shape))
    rise = _LEVEL_RISE_DB * np.clip(over, *_LEVEL_RANGE)
    start = np.clip(np.median(level[heard]) - 0.3 * _LEVEL_RISE_DB, *_LEVEL_START_DB)
    off = (np.nan_to_num(level)[..., None, None] - start - rise) / _LEVEL_SPREAD_DB
    ratio = _ANY_LEVEL_DB * np.exp(-0.5 * off**2) / (_LEVEL_SPREAD_DB * np.sqrt(2.0 * np.pi))
    ratio = np.maximum(ratio, _LEAST_LEVEL_RATIO)
    return np.where(heard[..., None, None], ratio, 1.0)


def _table(evidence: Evidence) -> FloatArray:
    """Return ln P(heard at a place | threshold, strength) for every place."""
    grid = np.arange(_LOWEST, _HIGHEST + _STEP, _STEP)
    over = _STRENGTHS[None, :] - grid[:, None]
    strike = _FALSE_ALARM + (1.0 - _FALSE_ALARM - _MISS) * ndtr(over / _SLACK)
    octaves = np.arange(evidence.contact.shape[-1])[:, None, None] / 12.0
    sooner = over + _TOUCH_SOONER - _TOUCH_LATER_PER_OCTAVE * octaves
    touch = _FALSE_ALARM + (1.0 - _FALSE_ALARM) * ndtr(sooner / _TOUCH_SLACK)
    touch = np.maximum(touch, strike)
    choke = _CHOKE_HEARD * ndtr((over - _CHOKE_AT) / _CHOKE_SLACK)
    q = np.clip(evidence.contact, 1.0 - _SURE, _SURE)[..., None, None]
    struck = _FALSE_ALARM + (strike - _FALSE_ALARM) * _level_ratio(evidence, over)
    ratio = np.exp(evidence.touched)[..., None, None]
    passing = (touch - strike) * ratio + 1.0 - touch
    heard = (q * struck + (1.0 - q) * passing) * (1.0 - choke)
    heard = np.where(evidence.choked[..., None, None], choke + _FALSE_ALARM, heard)
    return np.asarray(np.where(np.isnan(q), 0.0, np.log(heard)), np.float64)


def strike_model(setup: Setup, evidence: Evidence, *, lowest: int) -> StrikeModel:
    """Return the model for one neck; `lowest` is the lowest fret that sounds."""
    swing = np.stack(
        [
            envelope(setup.places_mm, scale_mm=setup.scale_mm, pluck_mm=share * setup.scale_mm)
            for share in _PLUCK_SHARES
        ]
    )
    level = _thresholds(setup, swing, setup.profile_mm)
    prior = np.exp(-0.5 * ((_STRENGTHS[:, None] - np.array(_TOUCH)) / _TOUCH_SPREAD) ** 2)
    return StrikeModel(
        setup=setup,
        swing=swing,
        middle=np.median(level[..., lowest:-1], axis=-1),
        table=_table(evidence),
        strength_prior=prior / prior.sum(axis=0),
    )
