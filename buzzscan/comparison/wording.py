"""Words for places and numbers of strings and frets.

Conventions
-----------
Runs of neighbours are shortened: "1–4". Minus signs are typographic.

Limits
------
English only.
"""

from __future__ import annotations

from collections.abc import Sequence

from buzzscan.neck.verdict import Finding
from buzzscan.scanning import Scan
from buzzscan.spans import frets_named, listed, strings_named

__all__ = ["as_sentence", "counted", "finding_words", "place_words", "signed_db"]


def finding_words(finding: Finding, scan: Scan) -> str:
    """Return a cause of a scan and its place in words."""
    if finding.kind == "dead spot" and len(finding.strings) > 1:
        # One resonance is met at another fret on each string.
        ids = set(finding.notes)
        places = sorted({(n.note.string, n.note.fret) for n in scan.notes if n.note.id in ids})
        if places:
            return f"{finding.kind} at " + ", ".join(f"string {s} fret {f}" for s, f in places)
    return place_words(finding.kind, finding.strings, finding.frets)


def place_words(kind: str, strings: Sequence[int], frets: Sequence[int]) -> str:
    """Return a cause and its place in words, as in "high fret 9 under strings 1–4"."""
    string = strings_named(strings) if strings else ""
    if kind in {"high fret", "low fret"}:
        return f"{kind} {listed(frets)}" + (f" under {string}" if string else "")
    part = frets_named(frets) if frets else ""
    where = " ".join(piece for piece in (string, part) if piece)
    return f"{kind} at {where}" if where else kind


def signed_db(value_db: float, decimals: int = 1) -> str:
    """Return a change with its sign and unit, as in "−0.4 dB"."""
    return f"{value_db:+.{decimals}f} dB".replace("-", "−")


def counted(n: int, singular: str) -> str:
    """Return a number of things: "1 position", "2 positions"."""
    return f"{n} {singular}{'' if n == 1 else 's'}"


def as_sentence(words: str) -> str:
    """Return words with a capital and a full stop."""
    return f"{words[:1].upper()}{words[1:]}." if words else ""
