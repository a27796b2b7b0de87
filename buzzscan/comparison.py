"""Before and after: what a piece of work on the neck changed, position by position.

Conventions
-----------
`before` and `after` are scans of one guitar. A change counts only where it exceeds the spread
between the passes of both takes. Contact depends on how hard the string is picked, so a cure
is only called one where the after take was picked about as hard.

Limits
------
How hard a string was picked is known only through its level. Where the level fell and the
noise floor did not fall with it, the player picked more softly; where the noise floor cannot
be heard between the notes, the two cannot be told apart and the answer is "not comparable".
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from buzzscan.errors import ComparisonError
from buzzscan.guitar import Guitar
from buzzscan.neck.verdict import Buzz, Finding, FindingKind, Position
from buzzscan.scanning import Scan

__all__ = [
    "Change",
    "ComparedFinding",
    "ComparedPosition",
    "Comparison",
    "Strength",
    "compare",
]

Change = Literal["cured", "better", "same", "worse", "new", "not comparable"]

BADNESS: dict[Buzz, int] = {"clean": 0, "slight": 1, "buzz": 2, "choked": 3}
HEARD_AS_BAD = 2

SMALLEST_CHANGE_DB = 3.0
"""A change of buzz below this is not called one however steady the passes were: twice the
energy is a clearly audible step in a noise (common practice, no source)."""

SPREADS = 2.0
"""How many pooled spreads a change must exceed: about 95 % for two passes a side."""

STRENGTH_TOLERANCE_DB = 3.0
"""Level difference up to which two takes count as picked alike: a player's own spread."""

GAIN_TOLERANCE_DB = 1.5
"""How closely notes and noise floor must shift together to be a change of gain."""

FLOOR_RANGE_DB = 45.0
"""The noise floor counts as heard when it lies this far below the notes; nearer than that,
what is measured between the notes may be their own tails."""

CONTACT_KINDS: frozenset[FindingKind] = frozenset(
    ("high fret", "low fret", "low nut slot", "neck too straight", "rising fret end", "low action")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strength:
    """How the level of the after take compares.

    Parameters
    ----------
    level_change_db
        Median change of the notes' attack level.
    gain_change_db
        Part of it that is a change of recording gain; None where it cannot be told.
    pick_change_db
        Part of it that is the pick; where the gain cannot be told, all of it.
    alike
        Whether the two takes count as picked alike.
    sentence
        The same in words.
    """

    level_change_db: float
    gain_change_db: float | None
    pick_change_db: float
    alike: bool
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedPosition:
    """One position before and after.

    Parameters
    ----------
    string, fret
        Place on the neck.
    buzz_before, buzz_after
        Verdict words.
    buzz_change_db
        Change of the buzz level; negative is less.
    sustain_change_ratio
        Time of fall after over before; above 1 rings longer.
    cents_change
        Change of pitch.
    change
        What happened to the buzz.
    reason
        Why it cannot be compared or does not count; empty otherwise.
    """

    string: int
    fret: int
    buzz_before: Buzz | None
    buzz_after: Buzz | None
    buzz_change_db: float | None
    sustain_change_ratio: float | None
    cents_change: float | None
    change: Change
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedFinding:
    """One cause before and after.

    Parameters
    ----------
    kind, strings, frets
        The cause, as in the scan that has it.
    change
        What became of it.
    summary
        The same in words.
    """

    kind: FindingKind
    strings: tuple[int, ...]
    frets: tuple[int, ...]
    change: Change
    summary: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two scans of one guitar side by side.

    Parameters
    ----------
    before, after
        The scans.
    strength
        Whether they were picked alike.
    positions
        One per position of the neck.
    findings
        What became of each cause.
    remarks
        What to know when reading it.
    summary
        The outcome in one or two sentences.
    """

    before: Scan
    after: Scan
    strength: Strength
    positions: tuple[ComparedPosition, ...]
    findings: tuple[ComparedFinding, ...]
    remarks: tuple[str, ...]
    summary: str


def compare(before: Scan, after: Scan) -> Comparison:
    """Return what changed between two scans of one guitar.

    Parameters
    ----------
    before, after
        Scans of the same instrument in the same tuning.

    Raises
    ------
    ComparisonError
        If they are of different instruments or tunings; the message says in what they differ.
    """
    _refuse_different(before.guitar, after.guitar)
    strength = _strength(before, after)
    spread = _pooled_spread(before, after)
    pairs = {(p.string, p.fret): p for p in after.positions}
    positions = tuple(
        _compared(b, pairs[b.string, b.fret], strength, spread, before, after)
        for b in before.positions
        if (b.string, b.fret) in pairs
    )
    findings = _findings(before, after, positions)
    return Comparison(
        before=before,
        after=after,
        strength=strength,
        positions=positions,
        findings=findings,
        remarks=_remarks(before, after, strength),
        summary=_summary(positions, strength),
    )


def _refuse_different(before: Guitar, after: Guitar) -> None:
    pitches = [[round(g.midi(s, 0), 1) for s in g.strings] for g in (before, after)]
    if pitches[0] != pitches[1]:
        raise ComparisonError(
            f"the tunings differ: before {' '.join(before.tuning)}, after "
            f"{' '.join(after.tuning)}; compare takes of one guitar in one tuning"
        )
    for what, one, other in (
        ("number of frets", before.frets, after.frets),
        ("scale", before.scale_mm, after.scale_mm),
        ("capo", before.capo, after.capo),
        ("name", before.name, after.name),
    ):
        if one and other and one != other:
            raise ComparisonError(
                f"the guitars differ: {what} is {one} before and {other} after; compare takes "
                "of one guitar, scanned with one guitar file"
            )


def _attacks(scan: Scan) -> dict[tuple[int, int], float]:
    found: dict[tuple[int, int], list[float]] = {}
    for measured in scan.notes:
        if measured.judged:
            place = (measured.note.string, measured.note.fret)
            found.setdefault(place, []).append(measured.attack_dbfs)
    return {place: median(levels) for place, levels in found.items()}


def _floor(scan: Scan) -> float:
    return median(r.noise_dbfs for r in scan.recordings)


def _strength(before: Scan, after: Scan) -> Strength:
    one, other = _attacks(before), _attacks(after)
    shared = sorted(one.keys() & other.keys())
    if not shared:
        raise ComparisonError(
            "no position was judged in both scans; play the same strings and frets in both"
        )
    level = median(other[p] - one[p] for p in shared)
    floors = _floor(before), _floor(after)
    heard = (
        median(one.values()) - floors[0] >= FLOOR_RANGE_DB
        and median(other.values()) - floors[1] >= FLOOR_RANGE_DB
    )
    floor_change = floors[1] - floors[0]
    gain: float | None = None
    if heard and abs(floor_change - level) <= GAIN_TOLERANCE_DB:
        gain = level
    elif heard and abs(floor_change) <= GAIN_TOLERANCE_DB:
        gain = 0.0
    pick = level - (gain or 0.0)
    alike = abs(pick) <= STRENGTH_TOLERANCE_DB
    if alike and abs(level) <= STRENGTH_TOLERANCE_DB:
        words = f"both takes are equally loud ({level:+.1f} dB)"
    elif alike:
        words = f"the recording gain changed by {level:+.1f} dB; the strings were picked alike"
    else:
        how = "softer" if pick < 0 else "harder"
        words = f"the after take is {pick:+.1f} dB in level: picked {how}"
        if gain is None:
            words += ", or recorded at another gain: the noise floor does not tell"
    return Strength(
        level_change_db=level,
        gain_change_db=gain,
        pick_change_db=pick,
        alike=alike,
        sentence=words,
    )


def _pooled_spread(before: Scan, after: Scan) -> float:
    """Return the usual spread of the buzz level between passes, over the notes in contact."""
    spreads = [
        p.buzz_spread_db
        for scan in (before, after)
        for p in scan.positions
        if p.buzz_spread_db is not None and p.buzz is not None and p.buzz != "clean"
    ]
    return median(spreads) if spreads else 0.0


def _level(position: Position, scan: Scan) -> float | None:
    return position.buzz_amp_db if scan.bars.heard == "amp" else position.buzz_db


def _compared(  # noqa: PLR0917 - one call site
    b: Position, a: Position, strength: Strength, spread: float, before: Scan, after: Scan
) -> ComparedPosition:
    levels = _level(b, before), _level(a, after)
    change_db = None if levels[0] is None or levels[1] is None else levels[1] - levels[0]
    change, reason = _change(b, a, change_db=change_db, strength=strength, spread=spread)
    cents = None if b.cents is None or a.cents is None else a.cents - b.cents
    ratio = None if not b.t60_s or not a.t60_s else a.t60_s / b.t60_s
    return ComparedPosition(
        string=b.string,
        fret=b.fret,
        buzz_before=b.buzz,
        buzz_after=a.buzz,
        buzz_change_db=change_db,
        sustain_change_ratio=ratio,
        cents_change=cents,
        change=change,
        reason=reason,
    )


def _change(
    b: Position, a: Position, *, change_db: float | None, strength: Strength, spread: float
) -> tuple[Change, str]:
    if b.buzz is None or a.buzz is None:
        when, position = ("before", b) if b.buzz is None else ("after", a)
        return "not comparable", f"{when}: {position.reason or 'not judged'}"
    one, other = BADNESS[b.buzz], BADNESS[a.buzz]
    if one == other == 0:
        return "same", ""
    own = max(SPREADS * spread, SMALLEST_CHANGE_DB)
    clear = change_db is None or abs(change_db) >= own or "choked" in {b.buzz, a.buzz}
    change: Change = "same"
    if other < one or (other == one and change_db is not None and change_db < 0):
        change = "cured" if one >= HEARD_AS_BAD and other == 0 else "better"
    elif other > one or (change_db is not None and change_db > 0):
        change = "new" if one == 0 and other >= HEARD_AS_BAD else "worse"
    if change != "same" and not clear:
        return "same", f"changed by {change_db:+.1f} dB, within what the passes differ by"
    softer = strength.pick_change_db < 0
    if not strength.alike and (
        (softer and change in {"cured", "better"}) or (not softer and change in {"worse", "new"})
    ):
        return "not comparable", strength.sentence
    return change, ""


def _overlap(one: Finding, other: Finding) -> bool:
    strings = not one.strings or not other.strings or set(one.strings) & set(other.strings)
    frets = not one.frets or not other.frets or set(one.frets) & set(other.frets)
    return one.kind == other.kind and bool(strings) and bool(frets)


def place_words(kind: str, strings: Sequence[int], frets: Sequence[int]) -> str:
    """Return a cause and its place in words, as in "high fret 9 under strings 1-4"."""
    fret = _numbers(frets)
    string = f"string{'s' if len(strings) > 1 else ''} {_numbers(strings)}" if strings else ""
    if kind in {"high fret", "low fret"}:
        return f"{kind} {fret}" + (f" under {string}" if string else "")
    where = " ".join(part for part in (string, f"fret {fret}" if frets else "") if part)
    return f"{kind} at {where}" if where else kind


def _numbers(values: Sequence[int]) -> str:
    runs: list[list[int]] = []
    for value in sorted(values):
        if runs and value == runs[-1][-1] + 1:
            runs[-1].append(value)
        else:
            runs.append([value])
    return ", ".join(str(r[0]) if len(r) == 1 else f"{r[0]}-{r[-1]}" for r in runs)


def _findings(
    before: Scan, after: Scan, positions: Sequence[ComparedPosition]
) -> tuple[ComparedFinding, ...]:
    by_place = {(p.string, p.fret): p for p in positions}
    found = []
    for finding in before.findings:
        if finding.kind == "retake":
            continue
        still = any(_overlap(finding, f) for f in after.findings)
        change = _finding_change(finding, before, by_place, still=still)
        found.append(_compared_finding(finding, change, still=still))
    found += [
        _compared_finding(f, "new", still=True)
        for f in after.findings
        if f.kind != "retake" and not any(_overlap(f, b) for b in before.findings)
    ]
    return tuple(found)


def _finding_change(
    finding: Finding,
    before: Scan,
    by_place: dict[tuple[int, int], ComparedPosition],
    *,
    still: bool,
) -> Change:
    if finding.kind not in CONTACT_KINDS:
        return "same" if still else "cured"
    ids = set(finding.notes)
    places = {(n.note.string, n.note.fret) for n in before.notes if n.note.id in ids and n.judged}
    counts = Counter(by_place[p].change for p in places if p in by_place)
    if counts["not comparable"]:
        return "not comparable"
    if counts["cured"] and not still and counts["cured"] >= counts["same"] + counts["worse"]:
        return "cured"
    if counts["cured"] or counts["better"]:
        return "better"
    return "worse" if counts["worse"] or counts["new"] else "same"


def _compared_finding(finding: Finding, change: Change, *, still: bool) -> ComparedFinding:
    place = place_words(finding.kind, finding.strings, finding.frets)
    words = {
        "cured": "cured" if finding.kind in CONTACT_KINDS else "no longer found",
        "better": "better, but still there" if still else "better",
        "same": "still there",
        "worse": "worse than before",
        "new": "new since the before take",
        "not comparable": "cannot be compared",
    }[change]
    return ComparedFinding(
        kind=finding.kind,
        strings=finding.strings,
        frets=finding.frets,
        change=change,
        summary=f"{place}: {words}",
    )


def _remarks(before: Scan, after: Scan, strength: Strength) -> tuple[str, ...]:
    remarks = [strength.sentence[0].upper() + strength.sentence[1:] + "."]
    if before.bars != after.bars:
        remarks.append(
            "The two scans were judged by different bars; scan both with the same before you "
            "rely on the words."
        )
    if not strength.alike:
        remarks.append("Play the after take as hard as the before take, at the same gain.")
    return tuple(remarks)


def _summary(positions: Sequence[ComparedPosition], strength: Strength) -> str:
    counts = Counter(p.change for p in positions)
    order: tuple[Change, ...] = ("cured", "better", "worse", "new", "same", "not comparable")
    said = [f"{counts[c]} {c}" for c in order if counts[c]]
    text = f"Of {len(positions)} positions: {', '.join(said)}."
    if not strength.alike:
        text += " The takes were not picked alike, so a cure cannot be shown."
    return text
