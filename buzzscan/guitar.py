"""The instrument: its strings, tuning, frets and, where known, its setup.

Conventions
-----------
Strings are numbered as the trade does: 1 is the thinnest. A tuning is listed as it is said,
thickest string first, so string ``n`` is ``tuning[-n]``. Fret 0 is the open string; with a
capo, frets are still counted from the nut and the capo's fret is the lowest that sounds.
Pitches are equal temperament at `a4_hz` plus the cents that the tuning itself names.

Limits
------
Setup values that are not given are None: they are unknown, not typical.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from buzzscan.errors import GuitarError

__all__ = ["STANDARD_TUNING", "Guitar"]

STANDARD_TUNING = ("E2", "A2", "D3", "G3", "B3", "E4")
"""Standard tuning of the six-string guitar, thickest string first."""


@lru_cache(maxsize=256)
def _note_to_midi(note: str) -> float:
    import librosa  # heavy, and only needed to read a note name

    sign = note.replace("−", "-").removesuffix("c")
    return float(librosa.note_to_midi(sign, round_midi=False))


@dataclass(frozen=True, slots=True, kw_only=True)
class Guitar:
    """A fretted instrument as the guitar file describes it.

    Parameters
    ----------
    tuning
        Note of each open string, thickest first; cents may follow ("E2-8c").
    frets
        Number of frets, 1 to 36.
    a4_hz
        Frequency of A4, 380 to 500 Hz.
    capo
        Fret that a capo holds down; 0 for none.
    scale_mm, gauges_mm, wound, action_12_mm, relief_mm, nut_gap_mm, radius_mm
        Setup, each None when not known. Tuples run thickest string first.
    name, shop, job
        Words for the report.
    """

    tuning: tuple[str, ...] = STANDARD_TUNING
    frets: int = 22
    a4_hz: float = 440.0
    capo: int = 0
    scale_mm: float | None = None
    gauges_mm: tuple[float, ...] | None = None
    wound: tuple[bool, ...] | None = None
    action_12_mm: tuple[float, ...] | None = None
    relief_mm: float | None = None
    nut_gap_mm: float | None = None
    radius_mm: float | None = None
    name: str = ""
    shop: str = ""
    job: str = ""

    @property
    def n_strings(self) -> int:
        """Number of strings."""
        return len(self.tuning)

    @property
    def strings(self) -> range:
        """String numbers, 1 (thinnest) to n."""
        return range(1, self.n_strings + 1)

    def midi(self, string: int, fret: int) -> float:
        """Return the nominal pitch of a position as a MIDI note number with a fraction.

        Raises
        ------
        GuitarError
            If the string or the fret is not on the instrument.
        """
        if string not in self.strings or not 0 <= fret <= self.frets:
            raise GuitarError(
                f"no position string {string}, fret {fret} on a guitar of {self.n_strings} "
                f"strings and {self.frets} frets"
            )
        return _note_to_midi(self.tuning[-string]) + fret

    def pitch_hz(self, string: int, fret: int) -> float:
        """Return the nominal frequency in Hz of a position (first partial).

        Raises
        ------
        GuitarError
            If the string or the fret is not on the instrument.
        """
        return float(self.a4_hz * 2.0 ** ((self.midi(string, fret) - 69.0) / 12.0))
