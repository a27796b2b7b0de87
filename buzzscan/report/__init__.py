"""Everything a person sees: terminal, HTML, PDF, PNG and CSV.

Conventions
-----------
All rounding and wording happens in `view`; the rest only places it. Nothing is measured here
and no bar is applied. The same scan gives the same bytes.

Limits
------
Files are written into a folder that exists; moving them to where they belong is the caller's.
"""

from buzzscan.report.terminal import render_terminal
from buzzscan.report.writing import write_cued_wav, write_labels, write_report

__all__ = ["render_terminal", "write_cued_wav", "write_labels", "write_report"]
