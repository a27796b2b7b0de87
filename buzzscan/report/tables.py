"""The table of notes for other programs: notes.csv.

Conventions
-----------
CSV follows RFC 4180 (commas, CRLF, quotes doubled) in UTF-8, with units in the header and full
stops in numbers. Text that a spreadsheet could take for a formula gets an apostrophe in front;
numbers are left numbers. What could not be measured is an empty cell.

Limits
------
One row per note; positions and findings are in scan.json. Buzz is there for every note, also
where contact is not likely: there it is what the note's own highs measure, and no buzz.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

from buzzscan.measures.measured import MeasuredNote
from buzzscan.scanning import Scan

__all__ = ["notes_csv", "safe_text"]

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""First signs that spreadsheets take for a formula (OWASP, "CSV Injection")."""


def safe_text(text: str) -> str:
    """Return text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _rounded(value: float | None, decimals: int) -> str:
    return "" if value is None else f"{value:.{decimals}f}"


_COLUMNS: tuple[tuple[str, Callable[[MeasuredNote], str]], ...] = (
    ("string", lambda m: str(m.note.string)),
    ("fret", lambda m: str(m.note.fret)),
    ("direction", lambda m: m.note.direction),
    ("onset (s)", lambda m: _rounded(m.note.onset_s, 4)),
    ("end (s)", lambda m: _rounded(m.note.end_s, 4)),
    ("pitch of first partial (Hz)", lambda m: _rounded(m.pitch_hz, 3)),
    ("pitch (cents)", lambda m: _rounded(m.cents, 2)),
    ("pitch standard error (cents)", lambda m: _rounded(m.pitch_error_cents, 2)),
    ("inharmonicity B", lambda m: "" if m.inharmonicity is None else f"{m.inharmonicity:.3e}"),
    ("attack (dBFS)", lambda m: _rounded(m.attack_dbfs, 1)),
    ("decay (dB/s)", lambda m: _rounded(m.decay_db_per_s, 2)),
    ("decay low (dB/s)", lambda m: _rounded(m.decay_low_db_per_s, 2)),
    ("decay high (dB/s)", lambda m: _rounded(m.decay_high_db_per_s, 2)),
    ("T60 (s)", lambda m: _rounded(m.t60_s, 3)),
    ("whole decay (dB/s)", lambda m: _rounded(m.whole_decay_db_per_s, 2)),
    ("EDT (s)", lambda m: _rounded(m.edt_s, 3)),
    ("T20 (s)", lambda m: _rounded(m.t20_s, 3)),
    ("T30 (s)", lambda m: _rounded(m.t30_s, 3)),
    ("buzz if it strikes a fret (dB)", lambda m: _rounded(m.buzz_db, 2)),
    ("buzz through an amp if it strikes a fret (dB)", lambda m: _rounded(m.buzz_amp_db, 2)),
    ("contact (probability)", lambda m: _rounded(m.contact, 3)),
    ("glide (cents)", lambda m: _rounded(m.glide_cents, 2)),
    ("contact until (s)", lambda m: _rounded(m.contact_until_s, 3)),
    ("judged", lambda m: "yes" if m.judged else "no"),
)


def notes_csv(scan: Scan) -> str:
    """Return the table of notes as CSV."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(
        ["note", "recording", *(name for name, _ in _COLUMNS), "reason", "not measured"]
    )
    for measured in scan.notes:
        withheld = "; ".join(f"{name}: {why}" for name, why in measured.withheld)
        writer.writerow(
            [
                str(measured.note.id),
                safe_text(scan.recordings[measured.note.recording].name),
                *(cell(measured) for _, cell in _COLUMNS),
                safe_text(measured.reason),
                safe_text(withheld),
            ]
        )
    return buffer.getvalue()
