"""Joins the steps of a comparison.

Conventions
-----------
Refuse what is not one guitar, find out how hard it was picked, judge the positions, then the
causes.

Limits
------
Positions are matched by string and fret.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from buzzscan.comparison.causes import compared_findings, places_of_other_causes
from buzzscan.comparison.changes import Judge
from buzzscan.comparison.lost import lost_positions, lost_remark
from buzzscan.comparison.result import Change, ComparedPosition, Comparison, Strength
from buzzscan.comparison.sameness import (
    differences,
    on_one_neck,
    refuse_other_guitar,
    same_recordings,
)
from buzzscan.comparison.spread import spread_of
from buzzscan.comparison.strength import strength_of
from buzzscan.comparison.wording import as_sentence, counted
from buzzscan.scanning import Scan
from buzzscan.spans import strings_named

__all__ = ["compare"]

WORTH_TELLING: tuple[Change, ...] = ("cured", "better", "worse", "new", "same", "not comparable")


def compare(before: Scan, after: Scan) -> Comparison:
    """Return what changed between two scans of one guitar.

    Parameters
    ----------
    before, after
        Scans of the same instrument in the same tuning.

    Raises
    ------
    ComparisonError
        If they are of different instruments or tunings, or share no judged position; the message
        says in what they differ.
    """
    refuse_other_guitar(before.guitar, after.guitar)
    remarks = differences(before, after)
    before, after = on_one_neck(before, after)
    strength = strength_of(before, after)
    judge = Judge(
        before=before,
        after=after,
        strength=strength,
        spread=spread_of((before, after)),
        gone=places_of_other_causes(before, after),
        come=places_of_other_causes(after, before),
    )
    now = {(p.string, p.fret): p for p in after.positions}
    positions = tuple(
        judge.compared(p, now[p.string, p.fret])
        for p in before.positions
        if (p.string, p.fret) in now
    )
    return Comparison(
        before=before,
        after=after,
        strength=strength,
        positions=positions,
        findings=compared_findings(before, after, positions),
        remarks=(*_remarks(before, after, positions, strength), *remarks),
        summary=_summary(positions, strength, same=same_recordings(before, after)),
    )


def _remarks(
    before: Scan, after: Scan, positions: Sequence[ComparedPosition], strength: Strength
) -> tuple[str, ...]:
    lost = lost_remark(positions)
    played = () if same_recordings(before, after) else _strength_remarks(strength)
    return (*((lost,) if lost else ()), *played)


def _strength_remarks(strength: Strength) -> tuple[str, ...]:
    remarks = [as_sentence(strength.sentence)]
    for pick in ("softer", "harder", "unknown"):
        odd = [s.string for s in strength.strings if s.pick == pick != strength.pick]
        if odd:
            how = "softer or harder, it cannot be told" if pick == "unknown" else pick
            verb = "were" if len(odd) > 1 else "was"
            remarks.append(as_sentence(f"{strings_named(odd)} {verb} picked {how}"))
    if not strength.alike:
        remarks.append("Play the after take as hard as the before take, at the same gain.")
    return tuple(remarks)


def _summary(positions: Sequence[ComparedPosition], strength: Strength, *, same: bool) -> str:
    judged = [p for p in positions if p.buzz_before is not None or p.buzz_after is not None]
    counts = Counter(p.change for p in judged)
    said = [f"{counts[c]} {c}" for c in WORTH_TELLING if counts[c]]
    text = f"Of {counted(len(judged), 'position')}: {', '.join(said)}."
    if same:
        return f"Before and after are the same recording. {text}"
    lost = len(lost_positions(positions))
    if lost:
        text += f" {lost} judged before can't be judged after."
    if strength.pick in {"softer", "unknown"}:
        text += " The after take may have been picked more softly, so a cure cannot be shown."
    elif strength.pick == "harder":
        text += " The after take was picked harder: what is cured is, what is new may not be."
    return text
