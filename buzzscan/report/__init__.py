"""Everything a person sees: terminal, HTML, PDF, PNG and CSV.

Conventions
-----------
All rounding and wording happens in `view`; the rest only places it. Nothing is measured here
and no bar is applied. The same scan gives the same bytes.

Limits
------
Files are written into a folder that exists; moving them to where they belong is the caller's.
"""

from buzzscan.report.comparing_writing import write_comparison
from buzzscan.report.history_page import write_history
from buzzscan.report.repeat_text import render_repeat_terminal
from buzzscan.report.terminal import (
    render_comparison_terminal,
    render_history_terminal,
    render_terminal,
)
from buzzscan.report.writing import write_cued_wav, write_labels, write_report

__all__ = [
    "render_comparison_terminal",
    "render_history_terminal",
    "render_repeat_terminal",
    "render_terminal",
    "write_comparison",
    "write_cued_wav",
    "write_history",
    "write_labels",
    "write_report",
]
