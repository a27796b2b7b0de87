"""Everything a page says, rounded and worded, made once from a scan.

Conventions
-----------
`view_of` is pure: it reads a `Scan` and opens nothing. Templates, the PDF, the terminal and the
pictures only place what is here. Verdicts are taken as they are; no bar is applied here.

Limits
------
Sound and pictures of single notes need samples and are in `buzzscan.report.clips`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import CONTACT_KINDS, Finding, Position
from buzzscan.plots.neckmap import MapLayer
from buzzscan.plots.tones import LAYERS
from buzzscan.report import words
from buzzscan.report.neck_view import PositionView, key_of, map_layer, position_view
from buzzscan.report.texts import CAUTIONS, method_of
from buzzscan.scanning import Scan

__all__ = [
    "FindingView",
    "NoteView",
    "RecordingView",
    "ReportView",
    "view_of",
]

_Places = dict[str, list[tuple[int, int]]]

_STRUCK = ("choked", "buzz")
_BAD = (*_STRUCK, "dead")
"""Verdicts that nobody takes for a sound note, worst first."""
_PLAY_AGAIN = "Play it again: what comes back is the neck's, what does not was the hand's."
_LOOK_THERE = (
    "Where buzz comes back, look there for a loose fret, a chip under the string or a loose part."
)
_MOST_NAMED = 3
"""So many places are named one by one."""
_MOST_OF_NECK = 0.9
"""Where less of the neck was judged, what was not may still hold a fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteView:
    """One row of the table of notes, ready to be set."""

    id: int
    string: int
    fret: int
    anchor: str
    columns: tuple[str, ...]
    judged: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingView:
    """One finding in words.

    Parameters
    ----------
    title, kind, where
        Cause with place, cause, and place.
    confidence, height
        In words; height is empty where it cannot be told.
    summary, next_step
        As judged; a step that an earlier finding gives already refers to it.
    keys
        Positions that are its evidence, most telling first.
    evidence
        The same in words.
    """

    title: str
    kind: str
    where: str
    confidence: str
    height: str
    summary: str
    next_step: str
    keys: tuple[str, ...]
    evidence: str
    strings: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingView:
    """One recording in words."""

    name: str
    facts: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportView:
    """The whole report in words.

    `unexplained` tells of buzz that findings on buzz leave; without any, the headline does.
    """

    title: str
    shop: str
    job: str
    headline: str
    first_step: str
    counts: str
    setup: tuple[tuple[str, str], ...]
    layers: tuple[MapLayer, ...]
    positions: dict[str, PositionView]
    findings: tuple[FindingView, ...]
    unexplained: str
    remarks: tuple[str, ...]
    recordings: tuple[RecordingView, ...]
    note_headers: tuple[str, ...]
    notes: tuple[NoteView, ...]
    method: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    first_key: str


NOTE_HEADERS = (
    "Time",
    "String",
    "Fret",
    "Run",
    "Pitch, Hz",
    "Cents",
    "B × 10⁶",
    "Level, dBFS",
    "Fall, dB/s",
    "Buzz, dB",
    "Contact, %",
)


def view_of(scan: Scan) -> ReportView:
    """Return everything the report says about a scan."""
    by_place = {(p.string, p.fret): p for p in scan.positions}
    positions = {
        key_of(p.string, p.fret): position_view(scan.guitar, p, by_place) for p in scan.positions
    }
    steps = words.each_once([f.next_step for f in scan.findings])
    findings = tuple(
        _finding_view(f, scan, step) for f, step in zip(scan.findings, steps, strict=True)
    )
    shown = [key for f in findings for key in f.keys if key in positions]
    bad = _places_of(scan.positions, _BAD)
    shown += [key_of(*place) for places in bad.values() for place in places]
    shown += [key for key, position in positions.items() if position.played]
    return ReportView(
        title=scan.guitar.name or "Fretted instrument",
        shop=scan.guitar.shop,
        job=scan.guitar.job,
        headline=_headline(findings, scan, bad),
        first_step=_first_step(findings, bad),
        counts=_counts(scan),
        setup=_setup(scan),
        layers=tuple(map_layer(layer, scan, by_place, positions) for layer in LAYERS),
        positions=positions,
        findings=findings,
        unexplained=_unexplained(scan),
        remarks=tuple(words.sentence(words.held(remark)) for remark in scan.remarks),
        recordings=tuple(_recording_view(scan, index) for index in range(len(scan.recordings))),
        note_headers=NOTE_HEADERS,
        notes=_note_views(scan),
        method=method_of(scan.bars),
        cautions=CAUTIONS,
        first_key=next(iter(shown), ""),
    )


def _finding_view(finding: Finding, scan: Scan, next_step: str) -> FindingView:
    places = Counter(
        (n.note.string, n.note.fret) for n in scan.notes if n.note.id in set(finding.notes)
    )
    by_place = {(p.string, p.fret): p for p in scan.positions}

    def telling(where: tuple[int, int]) -> tuple[float, float, int, int]:
        position = by_place.get(where)
        contact = (position.contact or 0.0) if position else 0.0
        buzz_db = position.buzz_db if position and position.buzz_db is not None else -200.0
        ratio = (position.decay_ratio or 0.0) if position else 0.0
        if finding.kind == "dead spot":
            return (-ratio, 0.0, *where)
        return (-contact, -buzz_db, *where)

    ordered = sorted(places, key=telling)
    height = ""
    if finding.height_mm is not None:
        height = words.quantity(finding.height_mm, 2, "mm")
        if finding.height_low_mm is not None and finding.height_high_mm is not None:
            low, high = finding.height_low_mm, finding.height_high_mm
            height += f" ({words.number(low, 2)} to {words.quantity(high, 2, 'mm')})"
    where = words.place(finding.strings, finding.frets)
    if finding.kind == "dead spot" and len(finding.strings) > 1:
        where = _evidence(sorted(places)) or where  # another fret on each string
    return FindingView(
        title=f"{finding.kind[0].upper()}{finding.kind[1:]}: {where}",
        kind=finding.kind,
        where=where,
        confidence=words.percent(finding.confidence),
        height=height,
        summary=words.held(finding.summary),
        next_step=words.held(next_step),
        keys=tuple(key_of(*where) for where in ordered if where in by_place),
        evidence=_evidence(sorted(places)),
        strings=finding.strings,
    )


def _evidence(places: list[tuple[int, int]]) -> str:
    """Return where a finding was heard, strings with the same frets together."""
    frets_of: dict[int, list[int]] = {}
    for string, fret in places:
        frets_of.setdefault(string, []).append(fret)
    strings_of: dict[tuple[int, ...], list[int]] = {}
    for string, frets in sorted(frets_of.items()):
        strings_of.setdefault(tuple(sorted(frets)), []).append(string)
    return "; ".join(words.place(strings, frets) for frets, strings in strings_of.items())


def _headline(findings: tuple[FindingView, ...], scan: Scan, bad: _Places) -> str:
    if not any(n.judged for n in scan.notes):
        return "No note could be judged"
    if not findings:
        if bad:
            return f"No cause found: {_marked(bad)}"
        buzz = words.quantity(scan.bars.buzz_db, 0, "dB")
        return f"Nothing stands out{_part_judged(scan)}: no fault found, with buzz told from {buzz}"
    head = findings[0]
    more = len(findings) - 1
    rest = "" if not more else f", and {words.count(more, 'more finding')}"
    if not any(f.kind in CONTACT_KINDS for f in findings):
        alone = _struck_alone(scan)
        rest += f"; no cause found: {_marked(alone)}" if alone else ""
    return f"{head.title}{rest}"


def _unexplained(scan: Scan) -> str:
    """Return what to say of buzz that findings on buzz leave; without any the headline tells it."""
    told = any(f.kind in CONTACT_KINDS for f in scan.findings)
    alone = _struck_alone(scan) if told else {}
    return f"No cause found: {_marked(alone)}. {_PLAY_AGAIN} {_LOOK_THERE}" if alone else ""


def _struck_alone(scan: Scan) -> _Places:
    """Return the positions that strike a fret and are no evidence of any finding, by verdict."""
    explained = {i for f in scan.findings if f.kind in CONTACT_KINDS for i in f.notes}
    return _places_of([p for p in scan.positions if explained.isdisjoint(p.notes)], _STRUCK)


def _part_judged(scan: Scan) -> str:
    """Return how much of the neck was judged, or nothing where it is most of it."""
    judged = [p for p in scan.positions if p.buzz is not None]
    # how many frets a neck has that nobody described is taken
    top = max(p.fret for p in judged) if judged and scan.tuning_found else scan.guitar.frets
    n = sum(p.fret <= top for p in scan.positions)
    if len(judged) >= _MOST_OF_NECK * n:
        return ""
    return f" in the {words.count(len(judged), 'position')} judged, of {n}"


def _places_of(positions: Iterable[Position], verdicts: Sequence[str]) -> _Places:
    """Return the places of each of some verdicts, of those that stand anywhere."""
    told: _Places = {word: [] for word in verdicts}
    for p in positions:
        for word, places in told.items():
            if word in {p.buzz, p.sustain}:
                places.append((p.string, p.fret))
    return {word: places for word, places in told.items() if places}


def _marked(bad: _Places) -> str:
    """Return what is bad on the map."""
    return ", ".join(
        words.positions_that(word, len(places))
        + (f" ({_evidence(sorted(places))})" if len(places) <= _MOST_NAMED else "")
        for word, places in bad.items()
    )


def _first_step(findings: tuple[FindingView, ...], bad: _Places) -> str:
    """Return the check by hand that comes first: the first sentence of the first next step.

    Of what is bad without a cause, it is to hear it again.
    """
    if not findings:
        struck = bad.keys() & set(_STRUCK)
        return " ".join((_PLAY_AGAIN, *([_LOOK_THERE] if struck else []))) if bad else ""
    first, stop, _ = findings[0].next_step.partition(". ")
    return f"{first}." if stop else first


def _counts(scan: Scan) -> str:
    judged = sum(n.judged for n in scan.notes)
    played = sum(p.picked for p in scan.positions)
    silent = sum(p.picked and not p.notes for p in scan.positions)
    return (
        f"{words.count(len(scan.notes), 'note')} found, {judged} judged; "
        f"{played} of {words.count(len(scan.positions), 'position')} played"
        + (f", {silent} of them without a note" if silent else "")
    )


def _setup(scan: Scan) -> tuple[tuple[str, str], ...]:
    guitar = scan.guitar
    tuning = " ".join(map(words.note, guitar.tuning))
    rows = [("Date", words.date(guitar.date))] if guitar.date else []
    rows += [
        ("Tuning", tuning + (" (found from the recording)" if scan.tuning_found else "")),
        ("Frets", str(guitar.frets)),
        ("A4", words.quantity(guitar.a4_hz, 1, "Hz")),
        ("Whole instrument off by", words.quantity(scan.offset_cents, 1, "cents", signed=True)),
    ]
    if guitar.capo:
        rows.append(("Capo", f"fret {guitar.capo}"))
    if guitar.scale_mm is not None:
        rows.append(("Scale", words.quantity(guitar.scale_mm, 1, "mm")))
    if guitar.action_12_mm:
        action = ", ".join(words.number(a, 2) for a in guitar.action_12_mm)
        rows.append(("Action at fret 12, thickest first", f"{action}\u00a0mm"))
    if guitar.relief_mm is not None:
        rows.append(("Relief", words.quantity(guitar.relief_mm, 2, "mm")))
    if guitar.nut_gap_mm is not None:
        gap = words.quantity(guitar.nut_gap_mm, 2, "mm")
        rows.append(("Open strings over fret 1", gap))
    return tuple(rows)


def _recording_view(scan: Scan, index: int) -> RecordingView:
    recording = scan.recordings[index]
    notes = sum(n.note.recording == index for n in scan.notes)
    return RecordingView(
        name=recording.name,
        facts=", ".join(
            (
                words.clock(recording.duration_s),
                words.quantity(recording.file_rate_hz / 1000.0, 1, "kHz"),
                f"peak {words.level(recording.peak_dbfs)}",
                f"noise {words.level(recording.noise_dbfs)}",
                words.count(notes, "note"),
            )
        ),
        warnings=tuple(words.held(warning.message) for warning in recording.warnings),
    )


def _note_views(scan: Scan) -> tuple[NoteView, ...]:
    seen: set[tuple[int, int]] = set()
    rows = []
    for measured in scan.notes:
        where = (measured.note.string, measured.note.fret)
        anchor = "" if where in seen else f"p{key_of(*where)}"
        seen.add(where)
        rows.append(_note_view(measured, anchor, many=len(scan.recordings) > 1))
    return tuple(rows)


def _note_view(measured: MeasuredNote, anchor: str, *, many: bool) -> NoteView:
    note = measured.note
    time = words.clock(note.onset_s)
    b = measured.inharmonicity
    return NoteView(
        id=note.id,
        string=note.string,
        fret=note.fret,
        anchor=anchor,
        columns=(
            f"{note.recording + 1} · {time}" if many else time,
            str(note.string),
            str(note.fret),
            note.direction,
            words.number(measured.pitch_hz, 2),
            words.number(measured.cents, 1, signed=True),
            words.number(None if b is None else 1e6 * b, 0),
            words.number(measured.attack_dbfs, 1),
            words.number(measured.decay_db_per_s, 1),
            words.number(measured.buzz_db, 1),
            words.percent(measured.contact).removesuffix("\u00a0%"),
        ),
        judged=measured.judged,
        reason=measured.reason,
    )
