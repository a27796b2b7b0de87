"""What became of each cause.

Conventions
-----------
A cause is the same in both takes where its kind is and its places overlap; a fret may be named
one off. Contact causes are judged by the positions that were their evidence, dead spots by how
long the note rings, pitch by the cents: a cause of pitch that only one of the takes shows came or
went only if the pitch that it is about moved.

Limits
------
What is no longer found is called cured only where its positions are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from statistics import median

from buzzscan.comparison.result import Change, ComparedFinding, ComparedPosition
from buzzscan.comparison.wording import finding_words
from buzzscan.neck.positions import Place, judged_notes
from buzzscan.neck.verdict import (
    CONTACT_KINDS,
    Finding,
    FindingKind,
    is_marked,
    tells_contact,
)
from buzzscan.scanning import Scan
from buzzscan.spans import strings_named

__all__ = ["causes_of_one", "compared_findings", "places_of_other_causes", "same_cause"]


LOCAL_KINDS: frozenset[FindingKind] = frozenset(("high fret", "low fret", "dead spot"))
"""Causes that sit at one fret."""
FRET_SLACK = 1
"""The fret is read from where buzz begins and ends, so one that only just strikes moves it."""
LONGER_RATIO = 1.3
"""A change of decay time by a quarter to 30 % is the least that is heard (Tolonen and
Järveläinen, 2002: −25 % and +40 % go unnoticed)."""
LOWER_TO, UPPER_FROM = 5, 12
"""Frets that tell a saddle's place: its error grows towards the body."""
CLEAR_CENTS = 2.0
"""Change of pitch that counts: four times the spread of a clean note's reading."""


def causes_of_one(scan: Scan, other: Scan) -> tuple[Finding, ...]:
    """Return the contact causes of a scan which the other does not show by a note that is heard."""
    shown = _marked(other)
    return tuple(
        f
        for f in scan.findings
        if f.kind in CONTACT_KINDS and not any(same_cause(f, g) for g in shown)
    )


def places_of_other_causes(scan: Scan, other: Scan) -> tuple[frozenset[Place], ...]:
    """Return the places of each contact cause of a scan which the other does not show."""
    return tuple(frozenset(_evidence(f, scan)) for f in causes_of_one(scan, other))


def compared_findings(
    before: Scan, after: Scan, positions: Sequence[ComparedPosition]
) -> tuple[ComparedFinding, ...]:
    """Return what became of each cause, those of the before take first."""
    by_place = {(p.string, p.fret): p for p in positions}
    marked = _marked(after)
    found = []
    for finding in before.findings:
        if finding.kind == "retake":
            continue
        still = [f for f in marked if same_cause(finding, f)]
        change = _change_of(finding, still, before, by_place)
        told = _strings_cured(finding, before, by_place) if change == "cured" else ()
        found.append(_named(finding, before, change, still, told))
    found += [
        _named(finding, after, _change_of_new(finding, after, by_place), [finding])
        for finding in marked
        if finding.kind != "retake" and not any(same_cause(f, finding) for f in before.findings)
    ]
    return tuple(found)


def same_cause(one: Finding | ComparedFinding, other: Finding) -> bool:
    """Return whether two findings are of one cause: its kind, and places that overlap."""
    if one.kind != other.kind:
        return False
    if one.strings and other.strings and not set(one.strings) & set(other.strings):
        return False
    if one.kind not in LOCAL_KINDS or not one.frets or not other.frets:
        return True
    slack = FRET_SLACK if one.kind == "high fret" else 0
    return any(abs(a - b) <= slack for a in one.frets for b in other.frets)


def _marked(scan: Scan) -> list[Finding]:
    # what is told by touches alone is neither left over nor new: nothing of it is heard
    return [f for f in scan.findings if is_marked(f, scan.positions)]


def _evidence(finding: Finding, scan: Scan) -> tuple[Place, ...]:
    ids = set(finding.notes)
    places = {(n.note.string, n.note.fret) for n in judged_notes(scan.notes) if n.note.id in ids}
    return tuple(sorted(places))


def _evidence_in(
    finding: Finding, scan: Scan, by_place: Mapping[Place, ComparedPosition]
) -> list[ComparedPosition]:
    """Return the positions that are a finding's evidence, of those that were compared."""
    return [by_place[p] for p in _evidence(finding, scan) if p in by_place]


def _change_of(
    finding: Finding,
    still: Sequence[Finding],
    before: Scan,
    by_place: Mapping[Place, ComparedPosition],
) -> Change:
    evidence = _evidence_in(finding, before, by_place)
    if finding.kind == "dead spot":
        return _change_of_decay(evidence, still=bool(still))
    if finding.kind not in CONTACT_KINDS:
        return _change_of_pitch(finding, evidence, before, by_place, still=bool(still))
    counts = Counter(p.change for p in evidence if tells_contact(p.buzz_before))
    told = sum(counts.values()) - counts["not comparable"]
    if not counts or counts["not comparable"] > told:
        return "not comparable"
    good, bad = counts["cured"] + counts["better"], counts["worse"] + counts["new"]
    # What strikes still, or was not heard again, keeps a cause from being cured.
    open_ = any(
        p.buzz_after in {None, "buzz", "choked"}
        for p in evidence
        if p.buzz_before in {"buzz", "choked"}
    )
    if good > told / 2 and not still and not open_ and not bad:
        return "cured"
    if good > max(bad, told / 4):
        return "better"
    return "worse" if bad > max(good, told / 4) else "same"


def _change_of_decay(evidence: Sequence[ComparedPosition], *, still: bool) -> Change:
    ratios = [p.sustain_change_ratio for p in evidence if p.sustain_change_ratio is not None]
    if not ratios:
        return "not comparable"
    ratio = median(ratios)
    if ratio >= LONGER_RATIO:
        return "better" if still else "cured"
    return "worse" if ratio <= 1.0 / LONGER_RATIO else "same"


def _change_of_pitch(
    finding: Finding,
    evidence: Sequence[ComparedPosition],
    before: Scan,
    by_place: Mapping[Place, ComparedPosition],
    *,
    still: bool,
) -> Change:
    then = {(p.string, p.fret): p.cents for p in before.positions}
    steps = []
    for p in evidence:
        cents = then.get((p.string, p.fret))
        if cents is not None and p.cents_change is not None:
            steps.append(abs(cents + p.cents_change) - abs(cents))
    if not steps:
        return "not comparable"
    if not still:
        return "same" if _stays(finding, by_place, evidence) else "cured"
    if abs(median(steps)) < CLEAR_CENTS:
        return "same"
    return "better" if median(steps) < 0.0 else "worse"


def _stays(
    finding: Finding,
    by_place: Mapping[Place, ComparedPosition],
    evidence: Sequence[ComparedPosition],
) -> bool:
    """Whether the pitch that a finding is about stays what it was, within what counts.

    Of the saddle, that is how the upper frets lie against the lower ones: a string that was tuned
    anew moves both. Of all else, it is the evidence against the rest of the neck.
    """
    if finding.kind == "saddle":
        own = [p for p in by_place.values() if p.string in finding.strings]
        about = [p for p in own if p.fret >= UPPER_FROM]
        beside = [p for p in own if p.fret <= LOWER_TO]
    else:
        about = list(evidence)
        beside = [p for p in by_place.values() if p not in about]
    moves = [
        [p.cents_change for p in places if p.cents_change is not None] for places in (about, beside)
    ]
    if not all(moves):
        return False
    return abs(median(moves[0]) - median(moves[1])) < CLEAR_CENTS


def _change_of_new(
    finding: Finding, after: Scan, by_place: Mapping[Place, ComparedPosition]
) -> Change:
    """Return "new" where the places of a cause that only the after take shows did get worse."""
    if finding.kind == "dead spot":
        return "new"
    evidence = _evidence_in(finding, after, by_place)
    if finding.kind not in CONTACT_KINDS:
        return "same" if _stays(finding, by_place, evidence) else "new"
    counts = Counter(p.change for p in evidence)
    bad = counts["new"] + counts["worse"]
    if counts["not comparable"] > bad:
        return "not comparable"
    # A cause named anew for contact that was there before is another reading, not a new fault.
    return "new" if bad >= max(counts["same"] + counts["better"], 1) else "same"


def _strings_cured(
    finding: Finding, before: Scan, by_place: Mapping[Place, ComparedPosition]
) -> tuple[int, ...]:
    """Return the strings of a cause under which contact was told before and is gone."""
    evidence = _evidence_in(finding, before, by_place)
    gone = (p for p in evidence if tells_contact(p.buzz_before))
    return tuple(sorted({p.string for p in gone if p.change in {"cured", "better"}}))


def _named(
    finding: Finding,
    scan: Scan,
    change: Change,
    still: Sequence[Finding],
    cured: Sequence[int] = (),
) -> ComparedFinding:
    place = finding_words(finding, scan)
    return ComparedFinding(
        kind=finding.kind,
        strings=finding.strings,
        frets=finding.frets,
        change=change,
        summary=f"{place}: {_words(finding, change, still, cured)}",
    )


def _words(finding: Finding, change: Change, still: Sequence[Finding], cured: Sequence[int]) -> str:
    if change == "cured":
        return _cured(finding, cured) if finding.kind in CONTACT_KINDS else "no longer found"
    if change == "better":
        left = sorted({s for f in still for s in f.strings})
        if not left:
            return "better"
        if len(left) < len(finding.strings):
            return f"better, still there under {strings_named(left)}"
        return "better, but still there"
    return {
        "same": "still there" if still else "much as before",
        "worse": "worse than before",
        "new": "new since the before take",
        "not comparable": "cannot be compared",
    }[change]


def _cured(finding: Finding, strings: Sequence[int]) -> str:
    """Return the word, with the strings it holds for where it does not hold for all."""
    untold = sorted(set(finding.strings) - set(strings))
    if not untold or not strings:
        return "cured"
    return f"cured under {strings_named(strings)}, not told under {strings_named(untold)}"
