"""One guitar over time: a page with one line for every scan.

Conventions
-----------
The page says what the order of its lines rests on. Shares are of the positions that were judged.

Limits
------
No sound: each scan has its own page for that.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from buzzscan.history import History, HistoryLine
from buzzscan.plots.tones import Tone, tone_of
from buzzscan.report import page, words
from buzzscan.report.texts import CAUTIONS
from buzzscan.report.writing import write_file

__all__ = ["HistoryLineView", "HistoryView", "history_view_of", "write_history"]

BAR_WIDTH = 240.0
"""Drawing units of a bar; the template's view box uses the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryLineView:
    """One scan in words.

    Parameters
    ----------
    label, date
        What it is called, and when it was played; the date may be empty.
    judged
        Number of positions judged.
    bar
        (tone, start, width) of each verdict's share, in drawing units.
    bar_words
        The same in words.
    counts
        One number per verdict on buzz, then short and dead positions.
    worst, findings, change
        Sentences.
    """

    label: str
    date: str
    judged: str
    bar: tuple[tuple[Tone, float, float], ...]
    bar_words: str
    counts: tuple[str, ...]
    worst: str
    findings: tuple[str, ...]
    change: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryView:
    """A whole history in words."""

    title: str
    headline: str
    counts: str
    headers: tuple[str, ...]
    tones: tuple[Tone, ...]
    lines: tuple[HistoryLineView, ...]
    cautions: tuple[str, ...]


_WORDS = ("clean", "slight", "buzz", "choked")
_CLEAN_HEADER = "No buzz"
"""A position that touches no fret may still fall short or dead: these are counted apart."""
_TONES = tuple(tone_of("buzz", word, played=True) for word in _WORDS)


def history_view_of(history: History) -> HistoryView:
    """Return everything the page says about a history."""
    return HistoryView(
        title=history.name or "Fretted instrument",
        headline=_headline(history.lines[-1]),
        counts=words.count(len(history.lines), "scan")
        + (f", {history.order}" if history.order else ""),
        headers=(
            "Scan",
            "Judged",
            _CLEAN_HEADER,
            *(word.capitalize() for word in _WORDS[1:]),
            "Short",
            "Dead",
        ),
        tones=_TONES,
        lines=tuple(_line(line) for line in history.lines),
        cautions=CAUTIONS,
    )


def _headline(last: HistoryLine) -> str:
    """Return how the neck stands after the last scan."""
    parts = [
        words.positions_that(verdict, n)
        for verdict, n in (
            ("buzz", last.buzz),
            ("choked", last.choked),
            ("short", last.short),
            ("dead", last.dead),
        )
        if n
    ]
    return (
        f"Last scan: {words.joined(parts) or 'no position buzzes, chokes, falls short or is dead'}"
    )


def _line(line: HistoryLine) -> HistoryLineView:
    counts = (line.clean, line.slight, line.buzz, line.choked)
    bar = []
    start = 0.0
    for tone, n in zip(_TONES, counts, strict=True):
        width = BAR_WIDTH * n / line.n_judged if line.n_judged else 0.0
        if n:
            bar.append((tone, round(start, 1), round(width, 1)))
        start += width
    worst = ", ".join(
        f"string {string} {'open' if fret == 0 else f'fret {fret}'} "
        f"({words.quantity(buzz_db, 0, 'dB')})"
        for string, fret, buzz_db in line.worst
    )
    return HistoryLineView(
        label=line.label,
        date=words.date(line.date),
        judged=str(line.n_judged),
        bar=tuple(bar),
        bar_words=", ".join(
            f"{n} {word}"
            for word, n in zip((_CLEAN_HEADER.lower(), *_WORDS[1:]), counts, strict=True)
            if n
        )
        or "nothing judged",
        counts=tuple(str(n) for n in (*counts, line.short, line.dead)),
        worst=worst,
        findings=tuple(words.held(finding) for finding in line.findings),
        change=words.held(line.change),
    )


def write_history(history: History, out_dir: Path) -> tuple[Path, ...]:
    """Write history.html and return its path.

    Parameters
    ----------
    history
        What to report.
    out_dir
        Folder that exists.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    view = history_view_of(history)
    text = page.render("history.html", view=view, bar_width=BAR_WIDTH)
    return (write_file(out_dir / "history.html", text.encode("utf-8")),)
