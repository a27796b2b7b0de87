"""The neck: a verdict for every position, and the causes behind them.

Conventions
-----------
`judge` is the way in; `relief_remarks` says what the guitar file alone makes plain. Every threshold
of the package that turns a measure into a word is in `Bars`.

Limits
------
Sound alone gives relative fret heights; millimetres need action and relief.
"""

from buzzscan.neck.findings import relief_remarks
from buzzscan.neck.judging import judge
from buzzscan.neck.verdict import Bars, Finding, Judgement, Position

__all__ = ["Bars", "Finding", "Judgement", "Position", "judge", "relief_remarks"]
