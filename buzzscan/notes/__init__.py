"""Notes of the run: where each starts and ends, and its string and fret.

Conventions
-----------
`find_notes` is the only way in. Onset is the moment the string is let go by the pick; the
end is where the note is stopped, not where the next one starts.

Limits
------
One note at a time: strums and chords are not a run.
"""

from buzzscan.notes.finding import find_notes
from buzzscan.notes.note import FoundNotes, Note

__all__ = ["FoundNotes", "Note", "find_notes"]
