"""Plain words for customers: what each finding means, why it matters, what is done about it.

Conventions
-----------
No word of the trade without its meaning beside it. `role` says where a finding belongs on the
page: work to be done, something that stays, or a matter of the recording itself.

Limits
------
Explanations are general; the numbers beside them come from the scan.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from buzzscan.neck.verdict import FindingKind

__all__ = ["CUSTOMER_CAUTIONS", "GLOSSARY", "PLAIN", "PlainFinding", "Role"]

Role = Literal["work", "stays", "recording"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainFinding:
    """One kind of finding for someone who plays but does not repair.

    Parameters
    ----------
    role
        Where it belongs on the page.
    title, several
        What it is; what several are.
    why
        What happens and why it is heard.
    remedy
        What is done about it, or why nothing is.
    """

    role: Role
    title: str
    several: str
    why: str
    remedy: str


PLAIN: dict[FindingKind, PlainFinding] = {
    "high fret": PlainFinding(
        role="work",
        title="A fret that stands too high",
        several="Frets that stand too high",
        why=(
            "It stands a little above the frets beside it. When you play just below it, "
            "the swinging string strikes it: that is the buzz. Played at this fret or above it, "
            "the same string rings clean."
        ),
        remedy=(
            "We check it by hand first. If it is loose it is seated again; if it stands high it is "
            "dressed: levelled to its neighbours, then rounded on top and polished."
        ),
    ),
    "low fret": PlainFinding(
        role="work",
        title="A fret that sits too low",
        several="Frets that sit too low",
        why=(
            "When you press the string at this fret, it lies so low that it also touches the "
            "next one. Only the notes played at this fret are spoiled."
        ),
        remedy=(
            "The fret is seated again or replaced; or the frets around it are dressed (levelled "
            "and rounded) down to it."
        ),
    ),
    "low nut slot": PlainFinding(
        role="work",
        title="A slot in the nut that is too deep",
        several="Slots in the nut that are too deep",
        why=(
            "The nut is the slotted bar at the head end of the strings. Here the open string "
            "lies so low in its slot that it strikes the first fret."
        ),
        remedy="The slot is filled and cut again, or the nut is replaced.",
    ),
    "high nut slot": PlainFinding(
        role="work",
        title="A slot in the nut that is too shallow",
        several="Slots in the nut that are too shallow",
        why=(
            "The nut is the slotted bar at the head end of the strings. Here the string lies "
            "high, so pressing it down at the first frets stretches it and the note goes sharp."
        ),
        remedy="The slot is cut a little deeper.",
    ),
    "neck too straight": PlainFinding(
        role="work",
        title="A neck that is too straight",
        several="A neck that is too straight",
        why=(
            "Strings swing widest near their middle, so a neck is given a very slight forward "
            "bow, called relief. Here it is missing, and the strings strike the first frets."
        ),
        remedy=(
            "The truss rod, a steel rod inside the neck, is eased a little until the bow is right."
        ),
    ),
    "rising fret end": PlainFinding(
        role="work",
        title="Frets that rise towards the body",
        several="Frets that rise towards the body",
        why=(
            "The last frets, over the body, climb towards the strings, so notes high on the "
            "neck strike the frets ahead of them."
        ),
        remedy="Those frets are levelled with a gentle fall-away, rounded and polished.",
    ),
    "low action": PlainFinding(
        role="work",
        title="Strings that are set very low",
        several="Strings that are set very low",
        why=(
            "The action is the height of the strings over the frets. It is so low here that "
            "strings touch frets over a good part of the neck when played hard."
        ),
        remedy=(
            "The strings are raised slightly at the bridge; or they stay low, for an easy feel, "
            "and some buzz is accepted."
        ),
    ),
    "dead spot": PlainFinding(
        role="stays",
        title="A dead spot",
        several="Dead spots",
        why=(
            "The neck itself swings along at this one pitch and takes the string's energy, so "
            "the note dies sooner than the string's other notes. No fret is struck."
        ),
        remedy=(
            "It comes with the wood and the shape of the neck. Work on the frets does not change "
            "it, so it stays."
        ),
    ),
    "saddle": PlainFinding(
        role="work",
        title="A string that plays out of tune up the neck",
        several="Strings that play out of tune up the neck",
        why=(
            "The saddle is the piece the string crosses at the bridge. It sits a little too near "
            "or too far, so notes up the neck drift off although the open string is in tune."
        ),
        remedy="The saddle is moved until the octave at the 12th fret is right.",
    ),
    "tuning": PlainFinding(
        role="recording",
        title="A string that was not in tune",
        several="Strings that were not in tune",
        why="The whole string was off its pitch while we recorded.",
        remedy="It is tuned, and its pitch judged again.",
    ),
    "retake": PlainFinding(
        role="recording",
        title="Notes that we need to record again",
        several="Notes that we need to record again",
        why=(
            "Some notes were not played, were picked too softly, or could not be heard well "
            "enough to judge."
        ),
        remedy="We play and record them again.",
    ),
}

GLOSSARY: tuple[tuple[str, str], ...] = (
    ("Fret", "metal bar across the neck; pressing a string behind it sets the note"),
    ("Buzz", "the rattle of a swinging string that strikes a fret it should clear"),
    ("Dressing", "levelling frets that stand too high, then rounding and polishing them"),
    ("String 1, string 6", "counted from the thinnest, so string 1 is the highest in pitch"),
    ("Open", "a string played without pressing it down"),
)

CUSTOMER_CAUTIONS: tuple[str, ...] = (
    (
        "Please leave filing, sanding and levelling to a qualified repairer: a few strokes too "
        "many cannot be undone, and metal and wood dust must not be breathed in."
    ),
    (
        "Strings are under strong tension and can whip; turning the truss rod by force can break "
        "the neck; files and blades are sharp."
    ),
    "Playing hard through an amp to hear a buzz is loud: keep the level down and mind your ears.",
    "Where local rules for such work say more, they come first.",
)
