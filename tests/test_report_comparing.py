"""Comparison and history say what they hold, on screen, on paper and in the terminal."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pypdf
import pytest

from buzzscan.comparison import Comparison, compare
from buzzscan.history import history
from buzzscan.neck.verdict import Finding, Position
from buzzscan.report import (
    render_comparison_terminal,
    render_history_terminal,
    words,
    write_comparison,
    write_history,
)
from buzzscan.report.comparing import comparison_view_of
from buzzscan.report.customer_change import customer_comparison_of
from buzzscan.report.history_page import BAR_WIDTH, history_view_of
from buzzscan.scanning import Scan


def pdf_text(path: Path) -> str:
    pages = pypdf.PdfReader(io.BytesIO(path.read_bytes())).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_every_cell_takes_its_word_from_the_comparison(comparison: Comparison) -> None:
    layer, before, after = comparison_view_of(comparison).layers
    compared = {(p.string, p.fret): p for p in comparison.positions}
    for row in layer.rows:
        for fret, cell in enumerate(row.cells):
            change = compared[row.string, fret]
            unplayed = change.buzz_before is None
            assert cell.tone.word == ("not played" if unplayed else change.change)
            both = not {change.buzz_before, change.buzz_after} & {None, "clean"}
            assert bool(cell.value) == (both and change.change != "same"), "no buzz, no number"
    assert [layer.key, before.key, after.key] == ["change", "before", "after"]
    assert before.rows[5].cells[9].tone.word == "choked"
    assert after.rows[5].cells[9].tone.word == "clean"
    assert {f: n for f, n in enumerate(layer.foot) if n} == {3: "1"}, "strings that got worse"


def test_what_got_worse_is_shown_first(comparison: Comparison) -> None:
    view = comparison_view_of(comparison)
    assert view.first_key == "1-3"
    change = view.changes["6-9"]
    assert change.tone.word == "cured"
    assert change.columns[2:5] == ("choked", "clean", words.DASH), (
        "what is clean has no level of buzz"
    )
    assert "choked before, clean after" in change.spoken


def test_findings_carry_the_words_of_their_takes(comparison: Comparison) -> None:
    cured, dead = comparison_view_of(comparison).findings
    assert (cured.tone.word, dead.tone.word) == ("cured", "same")
    was = comparison.before.findings[0]
    assert cured.before.replace("\u00a0", " ").startswith(was.summary)
    assert f"Height {was.height_mm:.2f}" in cured.before
    assert (cured.after, cured.next_step) == ("", ""), "nothing is left to do"
    assert dead.next_step == comparison.after.findings[0].next_step


def test_incomparable_takes_give_their_reason(neck_scan: Scan, after_scan: Scan) -> None:
    notes = tuple(replace(n, attack_dbfs=n.attack_dbfs - 9.0) for n in after_scan.notes)
    comparison = compare(neck_scan, replace(after_scan, notes=notes))
    view = comparison_view_of(comparison)
    assert view.changes["6-9"].tone.word == "not comparable"
    judged = next(p for p in comparison.positions if (p.string, p.fret) == (6, 9))
    assert view.changes["6-9"].reason == judged.reason != ""
    assert view.changes["6-9"].columns[-1] == judged.reason
    assert view.remarks == tuple(map(words.held, comparison.remarks)) != ()
    customer = customer_comparison_of(comparison, view)
    assert customer.heard == (), "no cure is shown to a customer"
    assert "We played the neck before and after and set note beside note." in customer.summary
    assert "the work" not in " ".join(customer.summary), "nobody said that any was done"


def test_customer_hears_the_cure_and_what_remains(comparison: Comparison) -> None:
    view = comparison_view_of(comparison)
    customer = customer_comparison_of(comparison, view, done="Fret 10 levelled.")
    first = customer.heard[0]
    assert (first.word, first.good_word) == ("Before", "After")
    assert (first.key, first.good_key) == ("before 4-9", "after 4-9")
    said = " ".join(customer.summary).replace("\u00a0", " ")
    assert "What we had found: a fret that stands too high (fret 10, strings 4–6)" in said
    assert "What was done: Fret 10 levelled." in said
    assert "before and after the work and set note beside note" in said
    assert "3 that buzzed are clean now" in said
    assert "1 that was clean buzzes now" in said
    assert "No note buzzes" not in said, "one note still buzzes"
    assert [f.title for f in customer.stays] == ["A dead spot"]
    assert [layer.title for layer in customer.layers] == ["Your neck before", "Your neck after"]


def test_no_note_buzzes_is_said_only_of_what_was_heard(neck_scan: Scan, after_scan: Scan) -> None:
    then, now = (tuple(p for p in scan.positions if p.notes) for scan in (neck_scan, after_scan))
    quiet = tuple(
        replace(p, buzz="clean", buzz_db=-60.0) if p.buzz in {"buzz", "choked"} else p for p in now
    )
    soft = replace(neck_scan.findings[0], kind="retake", strings=(1,), frets=())

    def said(positions: tuple[Position, ...], *more: Finding) -> str:
        after = replace(after_scan, positions=positions, findings=(*after_scan.findings, *more))
        comparison = compare(replace(neck_scan, positions=then), after)
        return " ".join(customer_comparison_of(comparison, comparison_view_of(comparison)).summary)

    assert "No note buzzes any more." in said(quiet)
    assert "No note buzzes" not in said(now)
    assert "does not tell whether all is well on string\u00a01" in said(quiet, soft)
    assert "No note buzzes" not in said(quiet, soft)
    gap = (replace(quiet[0], notes=(), buzz=None, reason="not played"), *quiet[1:])
    assert "1\u00a0note was not played" in said(gap)
    assert "No note buzzes" not in said(gap)


def test_pages_are_written_and_the_same_twice(
    comparison: Comparison, compared: Path, tmp_path: Path
) -> None:
    paths = write_comparison(
        comparison, tmp_path, audience="both", done="Fret 10 levelled and crowned."
    )
    assert [path.name for path in paths] == [
        "compare.html",
        "compare.pdf",
        "compare-customer.html",
        "compare-customer.pdf",
    ]
    for path in paths:
        assert path.read_bytes() == (compared / path.name).read_bytes(), path.name


def test_paper_lists_what_changed(compared: Path, comparison: Comparison) -> None:
    text = pdf_text(compared / "compare.pdf")
    assert comparison.summary in text
    rows = re.findall(r"(\d) (\d+) \w+ \w+ \S+ \S+ \S+ (cured|better|new)", text)
    assert sorted({word for *_, word in rows}) == ["better", "cured", "new"]
    assert len(rows) == 7


def test_customer_s_paper_is_one_page(compared: Path) -> None:
    pages = pypdf.PdfReader(io.BytesIO((compared / "compare-customer.pdf").read_bytes())).pages
    assert len(pages) == 1
    text = pdf_text(compared / "compare-customer.pdf")
    assert "Before beside after" in text
    assert "Fret 10 levelled and crowned" in text
    assert "before take" not in text, "no file names"


@pytest.mark.parametrize("width", [60, 80])
def test_terminal_shows_changes_within_its_width(comparison: Comparison, width: int) -> None:
    text = render_comparison_terminal(comparison, width=width, color=False)
    assert max(map(len, text.splitlines())) <= width
    sixth = next(line for line in text.splitlines() if line.startswith("6 E2"))
    assert sixth.split()[2:12] == [*"........", "b", "C"]
    said = " ".join(text.split()).lower()
    for finding in comparison.findings:
        assert finding.summary.lower().replace("–", "-") in said


def test_history_has_a_line_for_every_scan(
    neck_scan: Scan, after_scan: Scan, tmp_path: Path
) -> None:
    told = history([("first <b>", neck_scan), ("second", after_scan)])
    view = history_view_of(told)
    assert [line.label for line in view.lines] == ["first <b>", "second"]
    assert view.headers[1:] == ("Judged", "No buzz", "Slight", "Buzz", "Choked", "Short", "Dead")
    assert view.lines[0].counts == ("127", "3", "5", "1", "0", "1")
    for line in view.lines:
        tone, start, width = line.bar[-1]
        assert start + width == pytest.approx(BAR_WIDTH, abs=0.2), tone.word
    (path,) = write_history(told, tmp_path)
    page = path.read_text("utf-8")
    assert "first &lt;b&gt;" in page
    assert told.lines[1].change in page
    dated = replace(neck_scan.guitar, date="2026-03-14")
    scans = [("a", replace(neck_scan, guitar=dated)), ("b", after_scan)]
    view = history_view_of(history(scans, order="in the order given"))
    assert view.counts == "2\u00a0scans, in the order given"
    assert view.headline == "Last scan: 1\u00a0position buzzes and 1\u00a0position is dead"
    assert [line.date for line in view.lines] == ["14\u00a0March 2026", ""]
    text = render_history_terminal(told)
    assert max(map(len, text.splitlines())) <= 80
    assert re.search(r"^second +136 +129 +6 +1 +0 +0 +1$", text, re.MULTILINE)
