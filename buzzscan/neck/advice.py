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

from collections.abc import Sequence
from dataclasses import dataclass

from buzzscan.neck.straightedge import Suspect, alike, check, sign
from buzzscan.neck.verdict import FindingKind

__all__ = ["ADVICE", "ORDER", "Advice", "fret_check", "how_sure", "suspect_of", "tell_apart"]

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
_NUT = (
    f"{_TENSION} Nut files cut: mind your fingers. Filing and filling make dust and fumes: wear a "
    "dust mask and eye protection, and work in fresh air. If you have not cut a nut before, leave "
    "it to a qualified repairer."
)


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
        check="Press {where} down to see if it is loose.",
        caution=_DUST,
        work="If it is high, seat the fret or level and recrown that spot only, then play the "
        "strings again.",
        doubt="If the straightedge shows nothing, measure relief first.",
    ),
    "low fret": Advice(
        check="Look at {where} for wear under the strings.",
        caution=_DUST,
        work="If it is low, replace or raise that fret, or level the others down to it where "
        "there is height enough.",
        doubt="If the straightedge shows nothing, measure relief first.",
    ),
    "low nut slot": Advice(
        check="Hold the string down between frets 2 and 3 and look for a gap over fret 1; measure "
        "it with a feeler gauge.",
        caution=_NUT,
        work="With hardly any gap, fill and recut the slot or replace the nut.",
        doubt="A high fret 1 leaves as little gap: a short straightedge over frets 1–3 then shows "
        "light over fret 2.",
    ),
    "high nut slot": Advice(
        check="Hold the string down between frets 2 and 3 and measure the gap over fret 1 with a "
        "feeler gauge.",
        caution=f"{_NUT} A slot cut too deep buzzes and cannot be put back.",
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
        "spare the finish, shows whether added weight moves it to another pitch; if it stays "
        "where it is, the body of a hollow guitar may be the cause.",
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
    frozenset({"neck too straight", "low action"}): "Measure relief first: if it is as it should "
    "be, it is the action.",
    frozenset({"neck too straight", "low nut slot"}): "Measure relief first, then put a capo at "
    "fret 1: if that stops the buzz, it is the slot.",
    frozenset({"rising fret end", "low action"}): "A straightedge along the frets from the 12th up "
    "shows a rise; if there is none, it is the action.",
    frozenset({"low nut slot", "low action"}): "A capo at fret 1 that stops the buzz points to the "
    "slot.",
}
"""What tells two causes apart by hand, where neither sits at one fret."""

_FRET_TELLS: dict[FindingKind, str] = {
    "neck too straight": "Measure relief first; then {sign}.",
    "rising fret end": "A rising end shows along all frets from the 12th up; {sign}.",
    "low action": "Before you measure the action: {sign}.",
    "low nut slot": "Before you touch the nut: {sign}.",
}
"""What tells a cause from one fret that is high or low."""

_HARDER = "Picked harder, a high fret buzzes one note further back; a low one does not."


def suspect_of(kind: FindingKind, frets: Sequence[int]) -> Suspect | None:
    """Return the fret in question, or None for a cause that does not sit at one fret."""
    return Suspect(kind=kind, fret=frets[0]) if kind in ("high fret", "low fret") else None


def fret_check(suspect: Suspect, *, last: int, where: str) -> str:
    """Return the check that tells a high or low fret from the fault beside it that sounds alike.

    Parameters
    ----------
    last
        Highest fret of the neck.
    where
        Words for the strings concerned.
    """
    return check(suspect, alike(suspect, last=last), last=last, where=where)


def tell_apart(
    kind: FindingKind,
    frets: Sequence[int],
    rival_kind: FindingKind,
    rival_frets: Sequence[int],
    *,
    last: int,
) -> str:
    """Return what tells a cause from its rival, or nothing.

    Parameters
    ----------
    kind, frets
        The cause, and where it sits. Its own check by hand (`fret_check`) is not said again.
    rival_kind, rival_frets
        Its rival.
    last
        Highest fret of the neck.
    """
    one, other = suspect_of(kind, frets), suspect_of(rival_kind, rival_frets)
    if one is not None and other is not None:
        return _HARDER if other == alike(one, last=last) else check(one, other, last=last)
    at_fret = one or other
    if at_fret is None:
        return _TELLS.get(frozenset((kind, rival_kind)), "")
    shown = sign(at_fret, last=last)
    text = _FRET_TELLS.get(rival_kind if one is not None else kind, "")
    return text.format(sign=shown) if shown else ""


def how_sure(confidence: float) -> str:
    """Return the word for a probability."""
    if confidence >= 0.9:
        return "Very likely"
    return "Likely" if confidence >= 0.7 else "Possible"
