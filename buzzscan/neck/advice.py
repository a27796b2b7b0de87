"""What to check by hand, what to do then, and with which care, per cause.

Conventions
-----------
Short sentences in the trade's words; first the check, then the caution, then the work: a caution
after the work comes too late.
`ORDER` is the order in which the trade sets up a neck: relief, nut, action, fret work,
intonation, and playing again.

Limits
------
Common practice, no source. No training: local rules and a qualified repairer come first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from buzzscan.neck.verdict import FindingKind

__all__ = ["ADVICE", "ORDER", "Advice", "how_sure", "tell_apart"]

ORDER: tuple[FindingKind, ...] = (
    "neck too straight",
    "low nut slot",
    "high nut slot",
    "low action",
    "high fret",
    "low fret",
    "rising fret end",
    "saddle",
    "tuning",
    "dead spot",
    "retake",
)

_DUST = (
    "Before you file or level: slacken the strings, mask the board, cover the pickups, and wear a "
    "dust mask and eye protection."
)
_ROD = (
    "Turn a truss rod in small steps, tuned to pitch between them, never by force; one that will "
    "not move is a job for a qualified repairer."
)
_TENSION = "Slacken the string first: it is under tension and can whip."


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Check, caution, work and doubt for one cause; `{where}` stands for its place."""

    check: str
    caution: str
    work: str
    doubt: str

    def text(self, where: str = "") -> str:
        """Return the four as one paragraph."""
        parts = (self.check, self.caution, self.work, self.doubt)
        return " ".join(p for p in parts if p).replace("{where}", where)


ADVICE: dict[FindingKind, Advice] = {
    "high fret": Advice(
        check="Rock a short straightedge over three frets with {where} in the middle, and press "
        "the fret down to see if it is loose.",
        caution=_DUST,
        work="If it rocks, seat the fret or level and recrown that spot only, then play the "
        "strings again.",
        doubt="If nothing rocks, measure relief and the frets on either side first.",
    ),
    "low fret": Advice(
        check="Bridge {where} with a short straightedge on its two neighbours: look for light "
        "under the edge, and for wear under the strings.",
        caution=_DUST,
        work="If it is low, replace or raise that fret, or level the others down to it where "
        "there is height enough.",
        doubt="If there is no gap, rock the edge on the next fret up: it may be high instead.",
    ),
    "low nut slot": Advice(
        check="Hold the string down between frets 2 and 3 and look for a gap over fret 1; measure "
        "it with a feeler gauge.",
        caution=_TENSION,
        work="With hardly any gap, fill and recut the slot or replace the nut.",
        doubt="A capo at fret 1 that stops the buzz proves the slot.",
    ),
    "high nut slot": Advice(
        check="Hold the string down between frets 2 and 3 and measure the gap over fret 1 with a "
        "feeler gauge.",
        caution=f"{_TENSION} A slot cut too deep buzzes and cannot be put back.",
        work="If it is clearly more than its neighbours', deepen the slot in small strokes, and "
        "check the pitch at fret 1 again.",
        doubt="Heavy finger pressure sounds the same: play fret 1 lightly and compare.",
    ),
    "neck too straight": Advice(
        check="With a capo at fret 1 and the string held at the last fret, measure the gap at "
        "about the 7th fret with a feeler gauge, or lay a straightedge along the frets.",
        caution=_ROD,
        work="If there is no gap, ease the rod an eighth of a turn at a time, then play again.",
        doubt="If relief is as it should be, look at the action and the first frets next.",
    ),
    "rising fret end": Advice(
        check="Lay a straightedge along the frets from the 12th up with relief set, and look for a "
        "rise towards the end of the board.",
        caution=_DUST,
        work="If it rises, level those frets with a gentle fall-away and recrown them.",
        doubt="Too much relief makes the end look high: set relief first.",
    ),
    "low action": Advice(
        check="Measure relief first, then the action at the 12th fret on these strings.",
        caution=_TENSION,
        work="Raise the saddle a little at a time until the notes that matter ring clean, or "
        "accept the buzz for the feel.",
        doubt="Play the run again less hard: if the buzz goes, it is the touch and not the neck.",
    ),
    "dead spot": Advice(
        check="Play the note softly: a dead spot dies just as fast, with no rattle.",
        caution="",
        work="Fret work will not cure it. As a test, a small clamp on the headstock, padded to "
        "spare the finish, shows whether added weight moves it to another pitch.",
        doubt="If it only dies when played hard, look for contact with a fret instead.",
    ),
    "saddle": Advice(
        check="With fresh strings at pitch, compare the 12th fret with the open string's octave on "
        "a tuner, with light finger pressure.",
        caution=_TENSION,
        work="Move the saddle in small steps, tuning in between, after relief, nut and action.",
        doubt="Old strings or a high nut give the same reading; change the strings first.",
    ),
    "tuning": Advice(
        check="Tune the string to pitch from below.",
        caution="",
        work="If it slips, look at the nut slot and the winds on the post; then play it again.",
        doubt="",
    ),
    "retake": Advice(
        check="Listen to the take: even picking, one string at a time, no hand on the others.",
        caution="Keep the level low enough for your ears when you play through an amp.",
        work="Play those strings again up and down, digging in, and let each note ring for a "
        "second.",
        doubt="",
    ),
}


_TELLS: dict[frozenset[FindingKind], str] = {
    frozenset({"high fret", "low fret"}): "A short straightedge that rocks over frets {around} "
    "shows that fret {high} is high; if it does not rock, fret {low} is worn low. Picked harder, a "
    "high fret buzzes one note further back; a low one does not.",
    frozenset({"high fret"}): "The one on which a short straightedge rocks is high.",
    frozenset({"high fret", "neck too straight"}): "Measure relief first: with relief as it should "
    "be, only a short straightedge that rocks on fret {high} speaks for that fret.",
    frozenset({"high fret", "rising fret end"}): "A short straightedge rocks on one high fret; a "
    "rising end shows along all frets from the 12th up.",
    frozenset({"high fret", "low action"}): "If a short straightedge does not rock on fret {high}, "
    "measure the action.",
    frozenset({"high fret", "low nut slot"}): "A capo at fret 1 that stops the buzz proves the "
    "slot; fret {high} is high if a short straightedge rocks on it.",
    frozenset({"neck too straight", "low action"}): "Measure relief first: if it is as it should "
    "be, it is the action.",
    frozenset({"neck too straight", "low nut slot"}): "Measure relief first, then put a capo at "
    "fret 1: if that stops the buzz, it is the slot.",
    frozenset({"rising fret end", "low action"}): "A straightedge along the frets from the 12th up "
    "shows a rise; if there is none, it is the action.",
    frozenset({"low nut slot", "low action"}): "A capo at fret 1 that stops the buzz proves the "
    "slot.",
}
"""What tells two causes apart by hand; high and low frets are named by number."""


_APART = (
    "A short straightedge rocks on fret {high} if it is high; one across fret {low} shows light "
    "under it if it is low."
)


def tell_apart(kinds: Mapping[FindingKind, Sequence[int]]) -> str:
    """Return the check by hand that tells two causes apart, or nothing.

    Parameters
    ----------
    kinds
        The kinds of the two, one where both are of a kind, and where each sits.
    """
    high, low = (next(iter(kinds.get(k, ())), 0) for k in ("high fret", "low fret"))
    text = _TELLS.get(frozenset(kinds), "")
    if high and low and high != low + 1:
        text = _APART
    return text.format(high=high, low=low, around=f"{low}–{low + 2}")


def how_sure(confidence: float) -> str:
    """Return the word for a probability."""
    if confidence >= 0.9:
        return "Very likely"
    return "Likely" if confidence >= 0.7 else "Possible"
