"""Thresholds of touches and strikes by geometry, against strings that are simulated over the frets.

The simulators know nothing of the laws: they step a string against its frets. Necks and players are
drawn from seeds that no constant was found on.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pytest
from training.examples import goes_on_striking
from training.fit import auc
from training.fit_attack import TOUCHED_S
from training.guitars import drawn_string
from training.necks import drawn_chain, drawn_guitar, drawn_neck, drawn_performance, drawn_truth

from buzzscan.neck import thresholds
from buzzscan.neck.clearance import Setup, clearances, envelope, setup_of
from buzzscan.neck.thresholds import SENSES
from buzzscan.simulate import simulate_take
from buzzscan.simulate.plucking import SHORT_OF_FRETS

FloatArray = npt.NDArray[np.float64]

KINDS = ("high fret", "rising fret end", "neck too straight")
FIRST_SEED = 9000
HARDER = 1.5
"""Times as far as away from the neck, so that what is pushed towards it touches it as often."""


class Told(NamedTuple):
    """Strength over threshold of notes, and what their strings did."""

    over_strike: FloatArray
    over_touch: FloatArray
    lasts: npt.NDArray[np.bool_]
    touches: npt.NDArray[np.bool_]


def told(
    model: str, seed: int, kind: str, *, towards: bool, monkeypatch: pytest.MonkeyPatch
) -> Told:
    """Return the notes of one run over a drawn neck, by a player of known strength and place."""
    rng = np.random.default_rng([FIRST_SEED, seed])
    guitar = drawn_guitar(rng)
    neck = drawn_neck(rng, guitar, drawn_truth(rng, kind, guitar), seed)
    strings = tuple(range(1, guitar.n_strings + 1, 2))
    played = replace(drawn_performance(rng, neck), passes="up", strings=strings)
    if towards:
        harder = played.amplitude_mm * HARDER
        played = replace(played, towards=1.0, amplitude_mm=harder)
    take = simulate_take(neck, played, drawn_chain(rng), seed=seed, **drawn_string(model, rng))
    setup = setup_of(guitar)
    lines = [neck.line(s) for s in guitar.strings]
    profile = np.array([[n.nut_mm, *n.fret_mm[1:], n.saddle_mm] for n in lines])
    share = played.pluck_mm / neck.scale_mm
    mine = next(sense for sense in SENSES if sense.towards == towards)
    monkeypatch.setattr(thresholds, "SENSES", (mine._replace(shares=(share,)),))
    of_neck = thresholds.thresholds(setup, thresholds.laws_on(setup), profile)
    # one place of the pluck; strikes that last as on most guitars
    strike, touch = (t[0, t.shape[1] // 2] for t in of_neck)
    tension = np.array([s.tension_n for s in neck.strings])[::-1]
    away = played.amplitude_mm * np.sin(np.deg2rad(played.angle_deg)) * tension[-1] / tension
    notes = [n for n in take.truth if n.fret < guitar.frets]
    at = np.array([(n.string - 1, n.fret) for n in notes]).T
    strength = np.log(away)[at[0]]
    if towards:
        strength = np.minimum(strength, np.log(pressed_mm(setup, profile, share))[*at])
    return Told(
        over_strike=strength - strike[*at],
        over_touch=strength - touch[*at],
        lasts=np.array([goes_on_striking(n) or n.sounding_fret != n.fret for n in notes]),
        touches=np.array([n.contact_until_s > TOUCHED_S for n in notes]),
    )


def pressed_mm(setup: Setup, profile: FloatArray, share: float) -> FloatArray:
    """Return how far a pick pushes each note before it stops short of a fret."""
    places = {"places_mm": setup.places_mm, "scale_mm": setup.scale_mm}
    gaps = clearances(profile[:, :-1], profile[:, -1], **places)
    swing = envelope(**places, pluck_mm=share * setup.scale_mm, towards=True)
    with np.errstate(divide="ignore"):
        room = np.where((gaps > 0.0) & (swing > 0.0), gaps / swing, np.inf)
    return np.asarray(SHORT_OF_FRETS * room.min(axis=-1))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("model", "towards"),
    [("modes", False), ("grid", False), ("waveguide", False), ("modes", True), ("grid", True)],
)
def test_what_strings_strike_follows_from_heights(
    model: str,
    towards: bool,  # noqa: FBT001
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    takes = [
        told(model, seed, kind, towards=towards, monkeypatch=monkeypatch)
        for seed, kind in enumerate(KINDS)
    ]
    strike, touch, lasts, touches = (np.concatenate(part) for part in zip(*takes, strict=True))
    of_touch, of_strike = auc(touch[~touches], touch[touches]), auc(strike[~lasts], strike[lasts])
    print(
        f"\n{model}{', towards' * towards}: {touches.sum()} of {touches.size} touch, "
        f"AUC {of_touch:.3f}; {lasts.sum()} go on, AUC {of_strike:.3f}"
    )
    assert of_touch > 0.9
    assert of_strike > 0.9
