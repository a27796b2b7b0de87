"""Errors that buzzscan raises for its users.

Conventions
-----------
Every error derives from `BuzzscanError` and from the builtin that fits, so that callers can
catch either. The message says what was found, the value, the limit and the next step. The
command line prints the message alone and exits with 1.

Limits
------
A traceback on the command line is always a defect; wrong usage is reported by the command
line itself and exits with 2.
"""

__all__ = [
    "AnalysisError",
    "BarsError",
    "BuzzscanError",
    "ComparisonError",
    "GuitarError",
    "OutputError",
    "RecordingError",
    "ScanFileError",
    "UnreadableFileError",
]


class BuzzscanError(Exception):
    """Anything that went wrong and can be explained to the user."""


class GuitarError(BuzzscanError, ValueError):
    """A guitar file or a guitar value that does not describe an instrument."""


class BarsError(BuzzscanError, ValueError):
    """Bars between the verdicts that cannot be judged by."""


class RecordingError(BuzzscanError, ValueError):
    """A recording that was read but cannot be judged (silent, too short, not a run)."""


class UnreadableFileError(BuzzscanError, OSError):
    """A file or folder that cannot be read."""


class OutputError(BuzzscanError, OSError):
    """A result that cannot be written."""


class AnalysisError(BuzzscanError, ValueError):
    """A recording in which no run over the neck was found."""


class ScanFileError(BuzzscanError, ValueError):
    """A scan.json or compare.json that does not hold what its format says."""


class ComparisonError(BuzzscanError, ValueError):
    """Two scans that cannot be compared."""
