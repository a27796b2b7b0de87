"""How hard a string has to be picked to touch a fret, and to go on striking it.

Conventions
-----------
A threshold is the natural log of the least strength, as a pluck in mm of a string of usual tension;
geometry gives it (`buzzscan.neck.clearance`) and a law: where the fret lies ahead, where and which
way the string is picked, and how fast it swings. Profiles are heights in mm over (strings, …,
frets + 2): the nut slot, every fret and the saddle. Plucks are one per place of either sense, in
the order of `SENSES`.

Limits
------
A pick lets go of its string in one of two senses; what lies between, and turns, is in the laws'
scatter. A pick that pushes the string towards the neck is stopped by the frets, note by note; here
it is not, beyond that the hardest hands do not push so (`buzzscan.neck.strikes`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from buzzscan.neck.clearance import PLUCK_RANGE, Setup, clearances, envelope

__all__ = [
    "LAST_ODDS",
    "SENSES",
    "Law",
    "Laws",
    "Sense",
    "Thresholds",
    "laws_on",
    "middle_touches",
    "thresholds",
]

FloatArray = npt.NDArray[np.float64]

_LAST_MORE, LAST_ODDS = (-0.2, 0.0, 0.2), (0.25, 0.5, 0.25)
"""How much sooner (ln) strikes last on this guitar than on most, and how often: strings and frets
lose more or less."""
_PITCH_HZ = 200.0
_NEXT_FRET = 1.0 - 2.0 ** (-1.0 / 12.0)
_LEAST_GAP_MM = 0.01


class Law(NamedTuple):
    """What a fret ahead is met by, beside the envelope of an ideal string: all in ln(strength).

    Parameters
    ----------
    start
        For a fret next to the held one, a string picked at its end, 200 Hz.
    ahead
        Per ln(distance ahead) of the fret struck.
    pluck
        Per ln(pluck place) as a share of the sounding string.
    pitch
        Per ln(pitch).
    crowd
        How much more strength it takes per ln of the number of frets that are met about as soon.
    """

    start: float
    ahead: float
    pluck: float
    pitch: float
    crowd: float


class Sense(NamedTuple):
    """Which way a pick pulls the string.

    Parameters
    ----------
    towards
        Towards the neck; away from it otherwise.
    shares, odds
        Place of the pluck as a share of the open string, from beside the bridge to before the neck,
        and how often, among all plucks.
    touch, strike
        What it takes to touch a fret within the attack, and to go on striking it.
    """

    towards: bool
    shares: tuple[float, ...]
    odds: tuple[float, ...]
    touch: Law
    strike: Law


SENSES = (
    Sense(
        towards=False,
        shares=(0.1, 0.16, 0.24),
        odds=(0.21, 0.32, 0.17),
        touch=Law(start=0.2, ahead=-0.28, pluck=0.14, pitch=-0.09, crowd=0.0),
        strike=Law(start=0.6, ahead=-0.48, pluck=0.68, pitch=-0.22, crowd=0.3),
    ),
    Sense(
        towards=True,
        shares=(0.16,),
        odds=(0.3,),
        touch=Law(start=0.45, ahead=-0.3, pluck=0.0, pitch=-0.17, crowd=0.0),
        strike=Law(start=-0.35, ahead=-0.25, pluck=-0.6, pitch=-0.3, crowd=0.25),
    ),
)
"""A string touches a fret within its attack, and goes on striking it. What is picked nearer to its
end keeps less of its swing once its corner is rounded; a fret next to the held one, where a strike
turns the string's whole slope around, is struck for longest; and a string that meets many frets at
once is soon spent. One that is pushed towards the neck comes no nearer to it than it was let go:
near the held fret that is little, and a fret that is high may be struck from the one before it
alone. Found on simulated strings of two models, first with heights, strengths and strikes known,
then, away from the neck, with contact as it is heard; frets, gauges, actions and plucks varied.
`tests/accuracy/test_strikes.py` holds them against others."""
_TOWARDS_HARDER = 0.3
"""ln of how much farther a player pulls who pushes towards the neck: over most of a level one that
buzzes later."""


class _LawOnNeck(NamedTuple):
    """A law on one neck, for every place of the pluck, away from the neck and towards it.

    ln of a threshold is ln(least of gap · per_mm over the frets) + crowd · ln(frets met about as
    soon) − ease.

    Parameters
    ----------
    per_mm
        Strength per mm of gap over each fret ahead, shape (places, frets + 1, frets + 1).
    ease
        Shape (places, lasting, strings, frets + 1); for a touch lasting is one.
    crowd
        As of `Law`, shape (places,).
    """

    per_mm: FloatArray
    ease: FloatArray
    crowd: FloatArray


class Laws(NamedTuple):
    """Of what goes on striking, and of a touch."""

    strike: _LawOnNeck
    touch: _LawOnNeck


class Thresholds(NamedTuple):
    """ln thresholds for profiles (strings, …, frets + 2), per place of the pluck of either sense.

    Parameters
    ----------
    strike
        Of what goes on striking, shape (places, lasting, strings, …, frets + 1).
    touch
        Of a touch, on which how long strikes last has no bearing: the same shape, lasting is one.
    """

    strike: FloatArray
    touch: FloatArray


def thresholds(setup: Setup, laws: Laws, profile: FloatArray) -> Thresholds:
    """Return the thresholds of every place for profiles (strings, …, frets + 2)."""
    gaps = clearances(
        profile[..., :-1],
        profile[..., -1],
        places_mm=setup.places_mm,
        scale_mm=setup.scale_mm,
    )
    # a string that rests on a fret rings from there: one that it would lie deeper below does not
    # make it strike the sooner
    np.maximum(gaps, _LEAST_GAP_MM, out=gaps)
    between = (1,) * (profile.ndim - 2)
    out = []
    for law in laws:
        places = zip(law.per_mm, law.crowd.tolist(), strict=True)
        needed = np.stack([_needed(gaps * per_mm, crowd) for per_mm, crowd in places])
        out.append(needed[:, None] - law.ease.reshape(*law.ease.shape[:3], *between, -1))
    strike, touch = out
    # what goes on striking has touched
    return Thresholds(np.maximum(strike, touch), touch)


def _needed(strengths: FloatArray, crowd: float) -> FloatArray:
    """Return ln of the strength needed where these meet the frets ahead, over the last axis.

    Parameters
    ----------
    strengths
        Shape (…, frets + 1, frets + 1): held at, met.
    crowd
        By how much more than the least is needed per ln of the number of frets met about as soon.
    """
    if crowd == 0.0:  # the same, sooner
        return np.asarray(np.log(strengths.min(axis=-1)))
    out = np.full(strengths.shape[:-1], np.inf)
    # ahead of the last fret there is none
    near = 1.0 / strengths[..., :-1, :]
    first = np.log(near.max(axis=-1))
    met = np.log(np.einsum("...f,...f,...f->...", near, near, near)) - 3.0 * first
    out[..., :-1] = crowd * met - first
    return out


def _swing(setup: Setup, sense: Sense) -> FloatArray:
    """Return the envelope of each of a sense's plucks, shape (places, frets + 1, frets + 1)."""
    return np.stack(
        [
            envelope(
                setup.places_mm,
                scale_mm=setup.scale_mm,
                pluck_mm=share * setup.scale_mm,
                towards=sense.towards,
            )
            for share in sense.shares
        ]
    )


def _of_law(
    setup: Setup,
    sense: Sense,
    law: Law,
    *,
    swing: FloatArray,
    more: tuple[float, ...] = (0.0,),
) -> _LawOnNeck:
    """Return what a law makes of a neck; `more` eases every note by each of these."""
    left = 1.0 - setup.places_mm / setup.scale_mm
    ahead = np.maximum(1.0 - left[None, :] / left[:, None], 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_mm = np.where(swing > 0.0, (ahead / _NEXT_FRET) ** -law.ahead / swing, np.inf)
    share = np.clip(np.array(sense.shares)[:, None, None] / left, *PLUCK_RANGE)
    pitch = setup.open_hz[:, None] / left / _PITCH_HZ
    ease = law.start + law.pluck * np.log(share) + law.pitch * np.log(pitch)
    ease = ease[:, None] + np.reshape(more, (1, -1, 1, 1))
    return _LawOnNeck(per_mm, ease, np.full(len(sense.shares), law.crowd))


def laws_on(setup: Setup) -> Laws:
    """Return both laws on a neck, for all places of the pluck and either sense."""
    swings = [(sense, _swing(setup, sense)) for sense in SENSES]
    strikes = [_of_law(setup, s, s.strike, swing=swing, more=_LAST_MORE) for s, swing in swings]
    touches = [_of_law(setup, s, s.touch, swing=swing) for s, swing in swings]
    strike, touch = (
        _LawOnNeck(*map(np.concatenate, zip(*laws, strict=True))) for laws in (strikes, touches)
    )
    return Laws(strike, touch)


def middle_touches(setup: Setup, laws: Laws, *, lowest: int) -> FloatArray:
    """Return what strengths are counted from, (places, 1, strings).

    That is the middle threshold of a touch on the level neck; towards it, that of a usual pluck
    away from it, as it is the same hand that picks.
    """
    middle: FloatArray = np.median(
        thresholds(setup, laws, setup.profile_mm).touch[..., lowest:-1], axis=-1
    )
    towards = np.repeat([s.towards for s in SENSES], [len(s.shares) for s in SENSES])
    odds = np.concatenate([s.odds for s in SENSES])
    usual = int(np.where(towards, 0.0, odds).argmax())
    middle[towards] = middle[usual] + _TOWARDS_HARDER
    return middle
