"""compare.json: a comparison on disk.

Conventions
-----------
Format "buzzscan-compare", version 1; `compare.schema.json` beside this module describes it.
Keys are the names of the fields; what was not measured is null.

Limits
------
The two scans are named by their recordings, not held: compare them again from their scan.json.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import buzzscan
from buzzscan.comparison import Comparison
from buzzscan.errors import OutputError
from buzzscan.guitar import guitar_to_mapping
from buzzscan.scanning import Scan

__all__ = ["FORMAT", "VERSION", "comparison_to_mapping", "write_comparison_json"]

FORMAT, VERSION = "buzzscan-compare", 1


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits) + 0.0


def _side(scan: Scan) -> dict[str, Any]:
    return {
        "guitar": guitar_to_mapping(scan.guitar),
        "recordings": [{"name": r.name, "sha256": r.sha256} for r in scan.recordings],
        "n_notes": len(scan.notes),
    }


def comparison_to_mapping(comparison: Comparison) -> dict[str, Any]:
    """Return a comparison as plain values, in the order of the file."""
    strength = comparison.strength
    return {
        "format": FORMAT,
        "version": VERSION,
        "program": f"buzzscan {buzzscan.__version__}",
        "before": _side(comparison.before),
        "after": _side(comparison.after),
        "strength": {
            "level_change_db": _rounded(strength.level_change_db, 2),
            "gain_change_db": _rounded(strength.gain_change_db, 2),
            "pick_change_db": _rounded(strength.pick_change_db, 2),
            "pick": strength.pick,
            "alike": strength.alike,
            "sentence": strength.sentence,
            "strings": [
                {
                    "string": s.string,
                    "level_change_db": _rounded(s.level_change_db, 2),
                    "gain_change_db": _rounded(s.gain_change_db, 2),
                    "pick_change_db": _rounded(s.pick_change_db, 2),
                    "pick": s.pick,
                }
                for s in strength.strings
            ],
        },
        "positions": [
            {
                "string": p.string,
                "fret": p.fret,
                "buzz_before": p.buzz_before,
                "buzz_after": p.buzz_after,
                "buzz_change_db": _rounded(p.buzz_change_db, 2),
                "sustain_change_ratio": _rounded(p.sustain_change_ratio, 3),
                "cents_change": _rounded(p.cents_change, 2),
                "change": p.change,
                "reason": p.reason,
            }
            for p in comparison.positions
        ],
        "findings": [
            {
                "kind": f.kind,
                "strings": list(f.strings),
                "frets": list(f.frets),
                "change": f.change,
                "summary": f.summary,
            }
            for f in comparison.findings
        ],
        "remarks": list(comparison.remarks),
        "summary": comparison.summary,
    }


def write_comparison_json(comparison: Comparison, path: str | os.PathLike[str]) -> Path:
    """Write a comparison; the same comparison gives the same bytes.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    where = Path(path)
    mapping = comparison_to_mapping(comparison)
    text = json.dumps(mapping, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    try:
        where.write_bytes(text.encode("utf-8"))
    except OSError as error:
        raise OutputError(
            f"cannot write {where}: {error.strerror}; make room or give another folder"
        ) from error
    return where
