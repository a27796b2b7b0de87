"""The report as text for a terminal.

Conventions
-----------
Lines fit the width that is asked for. Marks are plain letters, so nothing is lost without
colour: a cell is up to three signs, buzz, sustain and pitch in that order, where "nothing to
say" is a blank.

Limits
------
Widths below 40 columns are treated as 40. A neck that is wider than the terminal is printed in
blocks of frets.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from buzzscan.comparison import Comparison
from buzzscan.history import History
from buzzscan.plots.neckmap import MapCell, MapLayer
from buzzscan.report.comparing import comparison_view_of
from buzzscan.report.history_page import history_view_of
from buzzscan.report.view import ReportView, view_of
from buzzscan.scanning import Scan

__all__ = ["render_comparison_terminal", "render_history_terminal", "render_terminal"]

_NARROWEST = 40
_CELL = 3
_COLOURS = {
    "slight": "30;48;5;222",
    "buzz": "30;48;5;172",
    "choked": "97;48;5;53",
    "short": "30;48;5;110",
    "dead": "97;48;5;24",
    "sharp": "30;48;5;179",
    "flat": "97;48;5;61",
    "better": "30;48;5;152",
    "worse": "30;48;5;215",
    "cured": "97;48;5;30",
    "new": "97;48;5;53",
}
"""SGR codes near the colours of the printed key, from the 256-colour set."""
_NBSP = "\u00a0"
_PLAIN = str.maketrans(
    {"−": "-", "–": "-", "\u00a0": " ", "\u2002": " ", "♯": "#", "♭": "b", "·": "-", "×": "x"}
)


def render_terminal(scan: Scan, *, width: int = 80, color: bool = True) -> str:
    """Return the map of the neck, the findings and the warnings as lines of text.

    Parameters
    ----------
    scan
        What to report.
    width
        Columns of the terminal.
    color
        Whether to add colours (ANSI codes).
    """
    view = view_of(scan)
    width = max(width, _NARROWEST)
    lines: list[str] = []
    title = view.title if not view.job or view.job in view.title else f"{view.title} ({view.job})"
    lines += _wrap(title, width)
    lines += _wrap(view.counts, width)
    for remark in view.remarks:
        lines += _wrap(f"Note: {remark}", width, rest="  ")
    lines.append("")
    lines += _map(view.layers, width=width, color=color)
    lines.append("")
    lines += _findings(view, width=width, color=color)
    lines += _sources(view, width=width, color=color)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def render_comparison_terminal(
    comparison: Comparison, *, width: int = 80, color: bool = True
) -> str:
    """Return the map of changes and what became of the findings as lines of text.

    Parameters
    ----------
    comparison
        What to report.
    width
        Columns of the terminal.
    color
        Whether to add colours (ANSI codes).
    """
    view = comparison_view_of(comparison)
    width = max(width, _NARROWEST)
    lines = [*_wrap(view.title, width), *_wrap(view.headline, width), *_wrap(view.counts, width)]
    lines.append("")
    lines += _map(view.layers[:1], width=width, color=color)
    lines.append("")
    for index, finding in enumerate(view.findings, 1):
        head = f"{index}. {finding.title}"
        lines += [_bold(line, color=color) for line in _wrap(head, width, rest="   ")]
        if finding.next_step:
            lines += _wrap(f"Next: {finding.next_step}", width, first="   ", rest="   ")
        lines.append("")
    for remark in view.remarks:
        lines += _wrap(f"Note: {remark}", width, rest="  ")
    for name, take in (("Before", view.before), ("After", view.after)):
        for recording in take.recordings:
            lines += _wrap(f"{name}: {recording.name}: {recording.facts}", width, rest="  ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def render_history_terminal(history: History, *, width: int = 80) -> str:
    """Return one line per scan, with what changed beneath it.

    Parameters
    ----------
    history
        What to report.
    width
        Columns of the terminal.
    """
    view = history_view_of(history)
    width = max(width, _NARROWEST)
    label_width = max(12, width - 8 * (len(view.headers) - 1) - 2)
    lines = [*_wrap(f"{view.title}: {view.counts}", width), *_wrap(view.headline, width), ""]
    heads = "".join(f"{name.lower():>8}" for name in view.headers[1:])
    lines.append(f"{'scan':<{label_width}}{heads}")
    for line in view.lines:
        counts = "".join(f"{text:>8}" for text in (line.judged, *line.counts))
        lines.append(f"{_plain(line.label)[: label_width - 1]:<{label_width}}{counts}")
        for text in (line.date, *line.findings, line.change):
            if text:
                lines += _wrap(text, width, first="  ", rest="  ")
    return "\n".join(text.rstrip() for text in lines) + "\n"


def _plain(text: str) -> str:
    """Return text with control characters dropped and typographic signs made plain."""
    return "".join(c for c in text.translate(_PLAIN) if c.isprintable())


def _wrap(text: str, width: int, *, first: str = "", rest: str = "") -> list[str]:
    """Return plain lines; what no-break spaces hold together is not parted."""
    held = "".join(c for c in text if c.isprintable() or c == _NBSP)
    lines = textwrap.wrap(
        held, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )
    return [_plain(line) for line in lines] or [first]


def _bold(text: str, *, color: bool) -> str:
    return f"\x1b[1m{text}\x1b[0m" if color else text


def _map(layers: tuple[MapLayer, ...], *, width: int, color: bool) -> list[str]:
    labels = [_plain(row.label) for row in layers[0].rows]
    margin = min(max(len(label) for label in labels) + 1, 10)
    n_frets = len(layers[0].fret_labels)
    per_block = max((width - margin) // _CELL, 1)
    lines: list[str] = []
    for start in range(0, n_frets, per_block):
        frets = range(start, min(start + per_block, n_frets))
        if lines:
            lines.append("")
        lines.append(" " * margin + "".join(f"{fret:<{_CELL}}" for fret in frets))
        for index, label in enumerate(labels):
            cells = (
                _cell([layer.rows[index].cells[f] for layer in layers], color=color) for f in frets
            )
            lines.append(f"{label[: margin - 1]:<{margin}}" + "".join(cells))
    return [*lines, *_key(layers, width)]


def _cell(cells: list[MapCell], *, color: bool) -> str:
    """Return the signs of one position, padded to the width of a cell."""
    tones = [cell.tone for cell in cells]
    signs = tones[0].letter + "".join(t.letter.strip() for t in tones[1:] if t.key != "unjudged")
    if tones[0].key == "unjudged" and len(signs) > 1:
        signs = signs[1:]  # another layer could still tell
    if cells[0].doubtful and len(signs) < _CELL:
        signs = f"{signs[0]}?{signs[1:]}"
    padded = f"{signs:<{_CELL}}"
    worst = next((t.key for t in tones if t.key in _COLOURS), "")
    if not color or not worst:
        return padded
    return f"\x1b[{_COLOURS[worst]}m{signs}\x1b[0m" + padded[len(signs) :]


def _key(layers: tuple[MapLayer, ...], width: int) -> list[str]:
    entries: dict[str, str] = {}
    for layer in layers:
        for tone in layer.tones:
            if tone.key != "unplayed" and tone.letter.strip():
                entries.setdefault(tone.key, f"{tone.letter} {tone.word}")
    doubtful = sorted({c.mark for row in layers[0].rows for c in row.cells if c.doubtful})
    if doubtful:
        entries["doubtful"] = f"{', '.join(doubtful)} in one pass, not in another"
    entries["unplayed"] = "(blank) not played"
    return _wrap(";  ".join(entry.replace(" ", _NBSP) for entry in entries.values()), width)


def _findings(view: ReportView, *, width: int, color: bool) -> Iterator[str]:
    if not view.findings:
        yield from _wrap(view.headline + ".", width)
        if view.first_step:
            yield from _wrap(f"Next: {view.first_step}", width)
        yield ""
    for index, finding in enumerate(view.findings, 1):
        head = f"{index}. {finding.kind}: {finding.where}, confidence {finding.confidence}"
        if finding.height:
            head += f", height {finding.height}"
        yield from (_bold(line, color=color) for line in _wrap(head, width, rest="   "))
        yield from _wrap(finding.summary, width, first="   ", rest="   ")
        yield from _wrap(f"Next: {finding.next_step}", width, first="   ", rest="   ")
        yield ""
    if view.unexplained:
        yield from _wrap(view.unexplained, width)
        yield ""


def _sources(view: ReportView, *, width: int, color: bool) -> Iterable[str]:
    for recording in view.recordings:
        yield from _wrap(f"{recording.name}: {recording.facts}", width, rest="  ")
        for warning in recording.warnings:
            lines = _wrap(f"Warning: {warning}", width, first="  ", rest="  ")
            yield from (_bold(line, color=color) for line in lines)
