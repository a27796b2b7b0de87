"""The customer reads plain words on one page, and nothing internal."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pypdf
import pytest

from buzzscan.neck.verdict import Buzz, FindingKind
from buzzscan.report.clips import ClipSet
from buzzscan.report.customer import customer_view_of
from buzzscan.report.letter import customer_pdf
from buzzscan.report.plain import PLAIN
from buzzscan.report.view import view_of
from buzzscan.scanning import Scan

ALL_CLEAR = "We found nothing on the frets that needs work."
NO_CLIPS = ClipSet(by_key={}, span_s=1.0, ticks=())


def pdf_text(data: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    assert len(pages) == 1
    return " ".join(pages[0].extract_text().split())


def clean_neck(scan: Scan) -> Scan:
    """Return a neck without faults, every position of it played."""
    played = tuple(p for p in scan.positions if p.notes)
    positions = tuple(replace(p, buzz="clean", sustain="rings") for p in played)
    return replace(scan, findings=(), positions=positions)


def test_every_kind_of_finding_has_plain_words() -> None:
    assert set(PLAIN) == set(get_args(FindingKind))


def test_findings_are_sorted_into_work_and_what_stays(neck_scan: Scan) -> None:
    customer = customer_view_of(neck_scan, view_of(neck_scan))
    assert [f.title for f in customer.work] == ["A fret that stands too high"]
    assert [f.title for f in customer.stays] == ["A dead spot"]
    pair = customer.work[0].pair
    assert pair is not None
    assert (pair.key, pair.good_key) in {("4-9", "4-10"), ("5-9", "5-10"), ("6-9", "6-10")}
    assert "0.11\u00a0mm" in customer.work[0].size
    assert "3\u00a0notes touch a fret lightly" in customer.accepted


def test_findings_of_a_kind_are_told_once(neck_scan: Scan) -> None:
    dead = neck_scan.findings[1]
    findings = (*neck_scan.findings, replace(dead, strings=(4,), frets=(19,)))
    scan = replace(neck_scan, findings=findings)
    customer = customer_view_of(scan, view_of(scan))
    assert [f.title for f in customer.stays] == ["Dead spots"]
    assert customer.stays[0].places == (
        "fret\u00a014, string\u00a03",
        "fret\u00a019, string\u00a04",
    )
    assert customer.stays[0].where == "Fret\u00a014, string\u00a03; fret\u00a019, string\u00a04"


def test_a_dead_spot_that_is_named_is_marked(neck_scan: Scan) -> None:
    """Also one that the bars call short: words and map must not contradict each other."""
    place = neck_scan.findings[1].strings[0], neck_scan.findings[1].frets[0]
    for findings, word in ((neck_scan.findings, "dead spot"), (neck_scan.findings[:1], "clean")):
        scan = replace(
            neck_scan,
            findings=findings,
            positions=tuple(
                replace(p, buzz="clean", sustain="short") if (p.string, p.fret) == place else p
                for p in neck_scan.positions
            ),
        )
        layer = customer_view_of(scan, view_of(scan)).layers[0]
        row = next(row for row in layer.rows if row.string == place[0])
        assert row.cells[place[1]].tone.word == word


@pytest.mark.parametrize(
    ("buzz", "named", "word"),
    [
        ("clean", True, "dead spot"),
        ("slight", True, "dead spot"),
        ("clean", False, "dies early"),
        ("slight", False, "light touch"),
        ("buzz", False, "buzz"),
    ],
)
def test_a_cause_is_told_only_of_dead_spots_that_are_named(
    neck_scan: Scan, buzz: Buzz, *, named: bool, word: str
) -> None:
    dead = neck_scan.findings[1]
    place = dead.strings[0], dead.frets[0]
    scan = replace(
        neck_scan,
        findings=(dead,) if named else (),
        positions=tuple(
            replace(p, buzz=buzz, sustain="dead") if (p.string, p.fret) == place else p
            for p in neck_scan.positions
        ),
    )
    customer = customer_view_of(scan, view_of(scan))
    row = next(row for row in customer.layers[0].rows if row.string == place[0])
    assert row.cells[place[1]].tone.word == word
    causes = [tone for tone in customer.layers[0].tones if "the neck takes" in tone.meaning]
    assert bool(causes) == named
    assert ("at a dead spot" in customer.summary[0]) == named
    light = sum(p.buzz == "slight" for p in neck_scan.positions) + (word == "light touch")
    assert customer.accepted.startswith(f"{light}\u00a0notes touch")


def test_summary_counts_every_played_note_once(neck_scan: Scan) -> None:
    customer = customer_view_of(neck_scan, view_of(neck_scan))
    counts = [int(n) for n in re.findall(r"\d+", customer.summary[0])]
    assert counts[0] == sum(counts[1:]) == 136
    assert customer.summary[0].replace("\u00a0", " ") == (
        "Of 136 notes, 126 ring clean, 3 touch a fret lightly, 5 buzz, 1 stops short and 1 dies "
        "early at a dead spot."
    )


def test_clean_neck_needs_no_work(neck_scan: Scan) -> None:
    clean = clean_neck(neck_scan)
    customer = customer_view_of(clean, view_of(clean))
    assert customer.summary[1] == ALL_CLEAR
    assert customer.accepted == ""


def test_a_cause_told_by_touches_alone_is_for_the_bench(neck_scan: Scan) -> None:
    clean = replace(clean_neck(neck_scan), findings=neck_scan.findings[:1])
    assert clean.findings[0].kind == "high fret"
    customer = customer_view_of(clean, view_of(clean))
    assert customer.work == ()
    assert customer.summary[1] == ALL_CLEAR


@pytest.mark.parametrize("gap", ["unplayed", "unjudged", "retake"])
def test_nobody_is_told_that_all_is_well_by_a_take_with_gaps(neck_scan: Scan, gap: str) -> None:
    """What was not judged is said, and that it should be played again."""
    scan = clean_neck(neck_scan)
    first, *rest = scan.positions
    if gap == "retake":
        soft = replace(neck_scan.findings[0], kind="retake", strings=(1, 2), frets=())
        scan = replace(scan, findings=(soft,))
        wanted = "does not tell whether all is well on strings 1–2, which should be played again"
    elif gap == "unjudged":
        scan = replace(scan, positions=(replace(first, buzz=None, reason="hum"), *rest))
        wanted = "1 note could not be judged, and should be played before the frets are judged"
    else:
        lost = replace(first, notes=(), buzz=None, reason="not played")
        scan = replace(scan, positions=(lost, *rest))
        wanted = "1 note was not played, and should be played before the frets are judged"
    said = " ".join(customer_view_of(scan, view_of(scan)).summary).replace("\u00a0", " ")
    assert wanted in said
    assert ALL_CLEAR not in said
    assert said.startswith("This recording does not tell") == (gap == "retake")


def test_a_hard_player_is_named_only_where_the_take_is_good(neck_scan: Scan) -> None:
    again = replace(neck_scan.findings[0], kind="retake", height_mm=None)
    scan = replace(neck_scan, findings=(*neck_scan.findings, again))
    whole = replace(
        neck_scan, positions=tuple(p for p in neck_scan.positions if p.notes), findings=()
    )
    for take, hard in ((neck_scan, True), (scan, False), (whole, True)):
        customer = customer_view_of(take, view_of(take))
        assert ("the way a hard player would, recorded" in customer.summary[-1]) == hard
        assert ("when played hard." in customer.accepted) == hard
        assert "measured each" in customer.summary[-1]


@pytest.mark.parametrize("name", ["customer.html", "customer.pdf"])
def test_no_internals_reach_the_customer(written: Path, name: str) -> None:
    data = (written / name).read_bytes()
    if name.endswith(".pdf"):
        text = pdf_text(data)
    else:
        page = re.sub(r"<(style|script)>.*?</\1>", "", data.decode(), flags=re.DOTALL)
        text = re.sub(r"<[^>]*>", " ", page)
    for internal in ("before take", "dBFS", "None", "contact", "confidence", "scan.json"):
        assert internal not in text
    assert "Alder Lane Fretworks" in text
    assert "Walnut offset, job 0417" in text
    assert "qualified repairer" in text


def test_paper_and_screen_say_the_same(written: Path, neck_scan: Scan) -> None:
    customer = customer_view_of(neck_scan, view_of(neck_scan))
    text = pdf_text((written / "customer.pdf").read_bytes())
    page = (written / "customer.html").read_text("utf-8")
    for finding in (*customer.work, *customer.stays):
        assert finding.title in page
        assert finding.title in text
        assert finding.remedy in page
        assert finding.remedy in text


def test_many_findings_still_fit_one_page(neck_scan: Scan) -> None:
    findings = tuple(
        replace(neck_scan.findings[0], kind=kind, summary="x" * 400)
        for kind in get_args(FindingKind)
    )
    scan = replace(neck_scan, findings=findings)
    text = pdf_text(customer_pdf(customer_view_of(scan, view_of(scan)), NO_CLIPS))
    assert "on the screen page" in text, "what does not fit is named"
