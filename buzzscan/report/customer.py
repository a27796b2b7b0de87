"""What the customer's page says: plain words, the notes to hear, what stays and why.

Conventions
-----------
Built from a `Scan` and the repairer's view of it. File names, note numbers, probabilities and
decibels stay off this page.

Limits
------
At most `MOST_SHOWN` findings are shown with sound; further ones are named.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

from buzzscan.neck.verdict import Finding, Position, is_marked
from buzzscan.plots.neckmap import MapCell, MapLayer, MapRow
from buzzscan.plots.tones import Tone, tone_of
from buzzscan.report import words
from buzzscan.report.neck_view import fret_name
from buzzscan.report.plain import CUSTOMER_CAUTIONS, GLOSSARY, PLAIN, Role
from buzzscan.report.view import FindingView, ReportView
from buzzscan.scanning import Scan

__all__ = [
    "CustomerFinding",
    "CustomerView",
    "Pair",
    "customer_view_of",
    "not_told",
    "plain_layer",
]

MOST_SHOWN = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A note to hear beside the one it should sound like, or came to sound like.

    Parameters
    ----------
    key, word, title
        The note: key of its clip, what it is, and its name.
    good_key, good_word, good_title
        The one beside it.
    """

    key: str
    word: str
    title: str
    good_key: str
    good_word: str
    good_title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CustomerFinding:
    """All findings of one kind, in plain words."""

    role: Role
    title: str
    places: tuple[str, ...]
    why: str
    remedy: str
    size: str
    pair: Pair | None

    @property
    def where(self) -> str:
        """All places on one line."""
        line = "; ".join(self.places)
        return line[:1].upper() + line[1:]


@dataclass(frozen=True, slots=True, kw_only=True)
class CustomerView:
    """Everything on the customer's page, of one take or of two.

    Parameters
    ----------
    title, guitar, shop, job, date
        Head of the page; the last three may be empty.
    summary
        Sentences, the outcome first.
    heard
        Notes before and after the work; empty for one take.
    work, stays, recording
        Findings by their role.
    accepted
        What is said of slight contact; may be empty.
    layers
        One map, or two: before and after.
    glossary, cautions
        Standing texts.
    """

    title: str
    guitar: str
    shop: str
    job: str
    date: str
    summary: tuple[str, ...]
    heard: tuple[Pair, ...]
    work: tuple[CustomerFinding, ...]
    stays: tuple[CustomerFinding, ...]
    recording: tuple[CustomerFinding, ...]
    accepted: str
    layers: tuple[MapLayer, ...]
    glossary: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]

    @property
    def line(self) -> str:
        """Guitar, job and date on one line."""
        job = f"job {self.job}" if self.job and self.job not in self.guitar else ""
        return " · ".join(part for part in (self.guitar, job, self.date) if part)


_HEARD = {
    "clean": "rings clean",
    "slight": "touches a fret lightly, less than we call a buzz",
    "buzz": "buzzes",
    "choked": "stops short",
    "dead": "dies sooner than this string's notes usually do: a dead spot",
    "short": "dies sooner than this string's notes usually do",
    "unjudged": "could not be judged",
    "unplayed": "was not played",
}


def customer_view_of(scan: Scan, view: ReportView) -> CustomerView:
    """Return what the customer's page says about a scan."""
    kinds: dict[str, list[tuple[Finding, FindingView]]] = {}
    for pair in zip(scan.findings, view.findings, strict=True):
        if is_marked(pair[0], scan.positions):
            kinds.setdefault(pair[0].kind, []).append(pair)
    findings = [_finding(found, view) for found in kinds.values()]
    by_role: dict[Role, list[CustomerFinding]] = {"work": [], "stays": [], "recording": []}
    for finding in findings:
        by_role[finding.role].append(finding)
    return CustomerView(
        title="What we heard on your instrument",
        guitar=view.title,
        shop=view.shop,
        job=view.job,
        date=words.date(scan.guitar.date),
        summary=_summary(scan, view, findings),
        heard=(),
        work=tuple(by_role["work"]),
        stays=tuple(by_role["stays"]),
        recording=tuple(by_role["recording"]),
        accepted=_accepted(scan),
        layers=(plain_layer(scan, view, title="Your neck, note by note"),),
        glossary=GLOSSARY,
        cautions=CUSTOMER_CAUTIONS,
    )


def _finding(found: list[tuple[Finding, FindingView]], view: ReportView) -> CustomerFinding:
    """Return all findings of one kind as one."""
    plain = PLAIN[found[0][0].kind]
    pairs = (_pair(seen.keys, view) for _, seen in found)
    return CustomerFinding(
        role=plain.role,
        title=plain.title if len(found) == 1 else plain.several,
        places=tuple(seen.where for _, seen in found),
        why=plain.why,
        remedy=plain.remedy,
        size=_size(found),
        pair=next((pair for pair in pairs if pair is not None), None),
    )


def _size(found: list[tuple[Finding, FindingView]]) -> str:
    """Return how far frets or slots are off, as a sentence, or nothing."""
    said = []
    for finding, seen in found:
        if finding.height_mm is None:
            continue
        text = f"about {words.quantity(finding.height_mm, 2, 'mm')}"
        if finding.height_low_mm is not None and finding.height_high_mm is not None:
            low = words.number(finding.height_low_mm, 2)
            text += f" ({low} to {words.quantity(finding.height_high_mm, 2, 'mm')})"
        said.append(text if len(found) == 1 else f"{seen.where}: {text}")
    if not said:
        return ""
    # Common knowledge, no source: office paper of 80 g/m² is about 0.1 mm thick.
    return (
        f"By our estimate it is off by {'; '.join(said)}; a sheet of office paper is about "
        "0.1\u00a0mm thick."
    )


def _pair(keys: tuple[str, ...], view: ReportView) -> Pair | None:
    """Return the most telling note that has a clean neighbour to be set against."""
    for key in keys:
        position = view.positions.get(key)
        if position is not None and position.neighbour is not None:
            good = view.positions[position.neighbour]
            return Pair(
                key=key,
                word="The note",
                title=position.title,
                good_key=good.key,
                good_word="Its good neighbour",
                good_title=good.title,
            )
    return None


def _dead_notes(scan: Scan) -> frozenset[int]:
    """Return the notes of all dead spots that are named: the map marks what the words name."""
    return frozenset(i for f in scan.findings if f.kind == "dead spot" for i in f.notes)


def _told(position: Position, dead: frozenset[int]) -> str:
    """Return the one verdict that a customer hears of a position."""
    if not position.picked:
        return "unplayed"
    if position.buzz in {"buzz", "choked"}:
        return str(position.buzz)
    fast = position.sustain in {"short", "dead"}
    if fast and dead.intersection(position.notes):
        return "dead"
    # A fret that the string touches may be why it falls fast.
    if position.sustain == "dead" and position.buzz != "slight":
        return "short"
    return position.buzz or "unjudged"


def _counts(scan: Scan) -> Counter[str]:
    """Return how many positions got each of a customer's verdicts."""
    dead = _dead_notes(scan)
    return Counter(_told(p, dead) for p in scan.positions)


def not_told(scan: Scan, view: ReportView) -> str:
    """Return what a take leaves open and has to be played again, as sentences; or nothing."""
    again = [v.where for f, v in zip(scan.findings, view.findings, strict=True) if _is_retake(f)]
    told = _counts(scan)
    open_ = [
        f"{words.count(told[key], 'note')} {one if told[key] == 1 else many}"
        for key, one, many in (
            ("unjudged", "could not be judged", "could not be judged"),
            ("unplayed", "was not played", "were not played"),
        )
        if told[key]
    ]
    lines = []
    if again:
        where = words.joined(again) if all(again) else "this neck"
        lines.append(
            f"This recording does not tell whether all is well on {where}, which should be "
            "played again."
        )
    if open_:
        lines.append(f"{words.joined(open_)}, and should be played before the frets are judged.")
    return " ".join(lines)


def _is_retake(finding: Finding) -> bool:
    return finding.kind == "retake"


def _summary(scan: Scan, view: ReportView, findings: list[CustomerFinding]) -> tuple[str, ...]:
    told = _counts(scan)
    played = sum(told.values()) - told["unplayed"]
    parts = []
    for key, singular, plural in (
        ("clean", "rings clean", "ring clean"),
        ("slight", "touches a fret lightly", "touch a fret lightly"),
        ("buzz", "buzzes", "buzz"),
        ("choked", "stops short", "stop short"),
        ("dead", "dies early at a dead spot", "die early at dead spots"),
        ("short", "dies early", "die early"),
        ("unjudged", "could not be judged", "could not be judged"),
    ):
        if told[key]:
            parts.append(f"{told[key]} {singular if told[key] == 1 else plural}")
    left, sure = not_told(scan, view), _is_good(scan)
    counts = f"{words.count(played, 'note')}, {words.joined(parts)}."
    # What a take to be redone does not tell comes before what it seems to tell.
    lines = [f"Of {counts}"] if sure else [left, f"As far as it tells, of {counts}"]
    work = [f for f in findings if f.role == "work"]
    if work:
        named = [f"{f.title[0].lower()}{f.title[1:]} ({f.where.lower()})" for f in work]
        lines.append(f"The likely cause: {words.joined(named)}.")
    if left and sure:
        lines.append(left)
    elif not left and not work and not told["buzz"] and not told["choked"]:
        lines.append("We found nothing on the frets that needs work.")
    hard = " the way a hard player would" if sure else ""
    lines.append(
        f"We played every fret of every string{hard}, recorded it and measured each note."
        if not told["unplayed"]
        else f"We played {played} of the {len(scan.positions)} notes on the neck{hard}, recorded "
        "them and measured each one."
    )
    return tuple(lines)


def _is_good(scan: Scan) -> bool:
    """Return whether a take need not be redone, as one that was picked too softly.

    Only then may it be said that the neck was played hard.
    """
    return not any(_is_retake(f) for f in scan.findings)


def _accepted(scan: Scan) -> str:
    slight = _counts(scan)["slight"]
    if not slight:
        return ""
    one = slight == 1
    hard = " when played hard" if _is_good(scan) else ""
    return (
        f"{words.count(slight, 'note')} {'touches' if one else 'touch'} a fret lightly{hard}. "
        "With strings set low for an easy feel that is usual; it is normally not "
        "heard through an amp, and removing it would mean higher strings."
    )


_PLAIN_WORDS: tuple[tuple[str, str, str], ...] = (
    ("clean", "clean", "rings as it should"),
    ("slight", "light touch", "less than we call a buzz"),
    ("buzz", "buzz", "the string strikes a fret"),
    ("choked", "stops short", "the string is stopped by a fret"),
    ("dead", "dead spot", "dies early: the neck takes the note's energy"),
    ("short", "dies early", "sooner than this string's notes usually do"),
)


def _plain_tone(key: str) -> Tone:
    if key in {"unjudged", "unplayed"}:
        return tone_of("buzz", None, played=key == "unjudged")
    for name, word, meaning in _PLAIN_WORDS:
        if name == key:
            layer, verdict = ("sustain" if key in {"dead", "short"} else "buzz"), key
            tone = tone_of(layer, verdict, played=True)  # type: ignore[arg-type]
            return replace(tone, word=word, meaning=meaning)
    raise KeyError(key)


def plain_layer(scan: Scan, view: ReportView, *, title: str) -> MapLayer:
    """Return one map that says everything a customer needs: no numbers, one sign per note."""
    by_place = {(p.string, p.fret): p for p in scan.positions}
    base = view.layers[0]
    dead = _dead_notes(scan)
    used = {"clean"}
    rows = []
    for row in base.rows:
        cells = []
        for fret in range(scan.guitar.frets + 1):
            position = by_place.get((row.string, fret))
            key = _told(position, dead) if position else "unplayed"
            used.add(key)
            spoken = f"String {row.string}, {fret_name(scan.guitar, fret)}: "
            cells.append(MapCell(tone=_plain_tone(key), value="", spoken=spoken + _HEARD[key]))
        rows.append(MapRow(string=row.string, label=row.label, cells=tuple(cells)))
    order = [key for key, _, _ in _PLAIN_WORDS] + ["unjudged", "unplayed"]
    return replace(
        base,
        title=title,
        caption="One line for each string, one box for each fret; string 1 is the thinnest",
        tones=tuple(_plain_tone(key) for key in order if key in used),
        rows=tuple(rows),
        foot=(),
        foot_title="",
    )
