"""Standing texts of the report: what the layers show, how it was measured, cautions.

Conventions
-----------
Words are the trade's; a word that a customer may not know is explained where it stands.

Limits
------
The cautions are the usual ones and no training; they send the reader to local rules and to a
qualified repairer.
"""

from __future__ import annotations

from dataclasses import dataclass

from buzzscan.neck.verdict import Bars
from buzzscan.plots.tones import Layer
from buzzscan.report import words

__all__ = ["CAUTIONS", "CHANGE_METHOD", "LAYER_TEXTS", "LayerText", "method_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerText:
    """What a layer is called, what its numbers are, and what its per-fret row counts."""

    title: str
    caption: str
    foot: str


LAYER_TEXTS: dict[Layer, LayerText] = {
    "buzz": LayerText(
        title="Buzz",
        caption="Energy of contact with a fret, dB of the whole note (higher is worse); "
        "? after a letter: heard in one pass and not in another",
        foot="Strings that buzz or choke",
    ),
    "sustain": LayerText(
        title="Sustain",
        caption="Seconds in which the first partial would fall by 60 dB",
        foot="Strings that fall short or dead",
    ),
    "pitch": LayerText(
        title="Pitch",
        caption="Cents against equal temperament",
        foot="Strings that are flat or sharp",
    ),
}

CAUTIONS: tuple[str, ...] = (
    (
        "A recording points at a fret; it does not measure it. Check by hand with a straightedge "
        "or a short rocking straightedge over three frets before any metal is taken off."
    ),
    (
        "Metal and wood dust harm lungs and eyes: work with extraction and a fitting dust mask, "
        "and wear eye protection."
    ),
    (
        "Strings are under tension and can whip when they break or are cut: slacken them first and "
        "keep your face away."
    ),
    (
        "Truss rod: small turns as its maker asks, the strings tuned to pitch again after each, "
        "and never by force. A rod that will not move is a job for a qualified repairer."
    ),
    "Files, knives and levelling beams are sharp: clamp the work and cut away from your hands.",
    (
        "Digging in through an amp is loud: keep the level down while you test, or protect your "
        "hearing."
    ),
    (
        "Local rules for workshop safety come before this sheet. If in doubt, ask a qualified "
        "repairer."
    ),
)


CHANGE_METHOD: tuple[tuple[str, str], ...] = (
    (
        "Comparing",
        (
            "Positions are matched by string and fret. How hard each take was picked is told "
            "first, apart from the gain of its recording; where a softer pick could have made a "
            "change, the position is not comparable."
        ),
    ),
    (
        "Changes",
        (
            "A change counts only beyond the spread of the passes. Cured: buzzed before, clean "
            "now. New: clean before, buzzes now. Sustain ratio: seconds after over before."
        ),
    ),
)


_STANDING: tuple[tuple[str, str], ...] = (
    (
        "± values",
        (
            "Of a position: half the range of its passes, for buzz of those that strike. Where "
            "only one pass gave a value there is none. Of a finding on pitch: 90\u00a0% lie within "
            "it."
        ),
    ),
    (
        "B",
        (
            "Inharmonicity: how far a stiff string's partials stretch, "
            "f(n) = n · f0 · √(1 + B · n²)."
        ),
    ),
    (
        "Heights",
        (
            "Sound alone gives relative heights. Millimetres are an estimate from action and "
            "relief, shown with the range that holds the true height with a probability of "
            "90\u00a0%; a feeler gauge or a straightedge decides."
        ),
    ),
)
"""Explanations that do not depend on the bars."""


def method_of(bars: Bars) -> tuple[tuple[str, str], ...]:
    """Return (term, explanation) pairs: how each number was got, and the bars in use."""
    heard = "as a guitar amp passes it, up to 5 kHz" if bars.heard == "amp" else "as recorded"
    bar = words.quantity(bars.buzz_db, 0, "dB")
    short, dead = words.number(bars.short_ratio, 1), words.number(bars.dead_ratio, 1)
    return (
        (
            "Notes",
            (
                "The run is cut at its attacks; each note is placed on string and fret by its "
                "pitch and by the order of the run. The way up and the way down both count."
            ),
        ),
        (
            "Pitch",
            (
                "Frequency of the first partial after the glide of the attack (what a tuner "
                "reads), in cents against equal temperament. In tune: within "
                f"{words.quantity(bars.pitch_cents, 1, 'cents')}."
            ),
        ),
        (
            "Fall and sustain",
            (
                "Slope of the first partial's level from 80 ms after the attack, in dB per second; "
                "60 dB divided by it is the time shown on the map. Short: falls "
                f"{short} times as fast as the string's own trend; dead: {dead} times."
            ),
        ),
        (
            "Buzz",
            (
                "Energy by which contact with a fret changes the note against what the string's "
                "own clean notes sound like, between 0.7 and 8 kHz, from 55 to 600 ms after the "
                "attack, over the energy of the whole note, in dB. Contact is the probability "
                "that the string strikes a fret at all; the table of notes has both of every "
                "note, the map only of those that strike. A position is judged by the pass that "
                "strikes most surely, and its level is that of the passes that strike. Judged "
                f"{heard}; called buzz from {bar}, slight below it."
            ),
        ),
        *_STANDING,
    )
