"""Whether two scans are of one guitar in one tuning.

Conventions
-----------
What makes a comparison wrong is refused; what may only be a slip of the pen is a remark.

Limits
------
Two guitars of one scale in one tuning look alike, unless their strings differ in stiffness.
"""

from __future__ import annotations

import dataclasses
import math
from statistics import median

from buzzscan.comparison.places import middles
from buzzscan.comparison.wording import as_sentence
from buzzscan.errors import ComparisonError
from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.positions import Place
from buzzscan.neck.verdict import Position
from buzzscan.scanning import Scan
from buzzscan.spans import strings_named

__all__ = ["differences", "on_one_neck", "refuse_other_guitar", "same_recordings"]

TUNING_TOLERANCE_SEMITONES = 0.3
"""Cents in a tuning are how it is meant to sound, not another tuning."""
SCALE_TOLERANCE = 0.005
"""3 mm of a guitar's scale: two ways to measure it; the next scale in use is 2 % away (common
practice, no source)."""
STIFFNESS_CHANGE = 1.4
"""Ratio of the inharmonicity of a string from which it is another string: one gauge up (.010 to
.011) at the same pitch gives (11/10)² = 1.21 for plain strings, two give 1.44."""
FEWEST_PLACES = 5


def refuse_other_guitar(before: Guitar, after: Guitar) -> None:
    """Raise if two guitars are not one.

    Raises
    ------
    ComparisonError
        The message says in what they differ.
    """
    if before.n_strings != after.n_strings or any(
        abs(before.midi(s, 0) - after.midi(s, 0)) > TUNING_TOLERANCE_SEMITONES
        for s in before.strings
    ):
        raise ComparisonError(
            f"the tunings differ: before {' '.join(before.tuning)}, after "
            f"{' '.join(after.tuning)}; compare takes of one guitar in one tuning"
        )
    one, other = before.scale_mm, after.scale_mm
    scales = one is None or other is None or abs(one / other - 1.0) <= SCALE_TOLERANCE
    for what, then, now, same in (
        ("scale in mm", one, other, scales),
        ("capo", before.capo, after.capo, before.capo == after.capo),
        ("a4_hz", before.a4_hz, after.a4_hz, before.a4_hz == after.a4_hz),
    ):
        if not same:
            raise ComparisonError(
                f"the guitars differ: {what} is {then} before and {now} after; compare takes "
                "of one guitar, scanned with one guitar file"
            )


def differences(before: Scan, after: Scan) -> tuple[str, ...]:
    """Return sentences on what differs between two scans of what passes as one guitar."""
    remarks = []
    one, other = before.guitar, after.guitar
    if one.frets != other.frets:
        remarks.append(
            f"The before take has {one.frets} frets and the after take {other.frets}: make sure "
            "that both are of the same guitar, and play it to the same fret."
        )
    if one.name and other.name and one.name != other.name:
        remarks.append(
            f'The guitars have different names ("{one.name}" and "{other.name}"): make sure '
            "that both takes are of the same one."
        )
    if same_recordings(before, after):
        remarks.append("Record the run again after the work, scan it, and compare the two scans.")
    elif {r.sha256 for r in before.recordings} & {r.sha256 for r in after.recordings}:
        remarks.append("Before and after share a recording: nothing can have changed in it.")
    if one.gauges_mm and other.gauges_mm and one.gauges_mm != other.gauges_mm:
        remarks.append(
            "The gauges differ: a change of strings changes clearance, brightness and decay too."
        )
    else:
        changed = _other_strings(before, after)
        if changed:
            verb = "sounds" if len(changed) == 1 else "sound"
            remarks.append(
                as_sentence(f"{strings_named(changed)} {verb} of another stiffness than before")
                + " Other strings, or another guitar? Both change more than the frets do."
            )
    if before.bars != after.bars:
        remarks.append(
            "The two scans were judged by different bars; scan both with the same before you "
            "rely on the words."
        )
    return tuple(remarks)


def on_one_neck(before: Scan, after: Scan) -> tuple[Scan, Scan]:
    """Return both scans with as many frets: what one has not played, it has not played.

    The frets of a scan are at least those that were played in it: two takes of one guitar may
    differ in that.
    """
    frets = max(before.guitar.frets, after.guitar.frets)
    return _up_to(before, frets), _up_to(after, frets)


def _up_to(scan: Scan, frets: int) -> Scan:
    if scan.guitar.frets == frets:
        return scan
    guitar = dataclasses.replace(scan.guitar, frets=frets)
    more = range(scan.guitar.frets + 1, frets + 1)
    unplayed = [Position.unplayed(string, fret) for string in guitar.strings for fret in more]
    positions = sorted((*scan.positions, *unplayed), key=lambda p: (p.string, p.fret))
    return dataclasses.replace(scan, guitar=guitar, positions=tuple(positions))


def same_recordings(before: Scan, after: Scan) -> bool:
    """Return whether two scans are of the same recordings, and can only agree."""
    return {r.sha256 for r in before.recordings} == {r.sha256 for r in after.recordings}


def _stiffness(scan: Scan) -> dict[Place, float]:
    """Return the natural log of B of each place that has it."""

    def log_b(note: MeasuredNote) -> float | None:
        b = note.inharmonicity
        return math.log(b) if b is not None and b > 0.0 else None

    return middles(scan, log_b)


def _other_strings(before: Scan, after: Scan) -> list[int]:
    """Return strings whose inharmonicity is that of another string."""
    one, other = _stiffness(before), _stiffness(after)
    changed = []
    for string in before.guitar.strings:
        steps = [other[p] - one[p] for p in one.keys() & other.keys() if p[0] == string]
        if len(steps) >= FEWEST_PLACES and abs(median(steps)) > math.log(STIFFNESS_CHANGE):
            changed.append(string)
    return changed
