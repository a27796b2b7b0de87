"""Guitar files: anything at all is a guitar or a clear refusal."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from buzzscan.errors import GuitarError
from buzzscan.guitar import Guitar, guitar_from_mapping, guitar_to_mapping

KEYS = [
    "tuning",
    "frets",
    "a4_hz",
    "capo",
    "scale_mm",
    "gauges_mm",
    "wound",
    "action_12_mm",
    "relief_mm",
    "nut_gap_mm",
    "radius_mm",
    "name",
    "shop",
    "job",
    "date",
]

notes = st.builds(
    "{}{}{}{}".format,
    st.sampled_from("ABCDEFGabcdefg"),
    st.sampled_from(["", "#", "b", "♯", "♭"]),
    st.integers(1, 5),
    st.sampled_from(["", "+3c", "-8c", "-12.5c", "−4c"]),
)
anything = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=300)
    | st.dates()
    | notes,
    lambda inner: st.lists(inner, max_size=20) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=10,
)


@st.composite
def guitars(draw: st.DrawFn) -> Guitar:
    """Return any guitar that is allowed."""
    tuning = draw(st.lists(notes, min_size=1, max_size=12))
    n = len(tuning)
    frets = draw(st.integers(1, 36))
    gauges = st.lists(st.floats(0.1, 5.0), min_size=n, max_size=n).map(
        lambda g: tuple(sorted(g, reverse=True))
    )
    actions = st.lists(st.floats(0.1, 10.0), min_size=n, max_size=n).map(tuple)
    return Guitar(
        tuning=tuple(tuning),
        frets=frets,
        a4_hz=draw(st.floats(380.0, 500.0)),
        capo=draw(st.integers(0, frets - 1)),
        scale_mm=draw(st.none() | st.floats(200.0, 1200.0)),
        gauges_mm=draw(st.none() | gauges.filter(_falls)),
        action_12_mm=draw(st.none() | actions),
        relief_mm=draw(st.none() | st.floats(-2.0, 3.0)),
        name=draw(st.text(st.characters(categories=["L", "N", "P", "Zs"]), max_size=200)),
    )


def _falls(gauges: tuple[float, ...]) -> bool:
    return len(gauges) < 3 or any(a > b for a, b in pairwise(gauges))


@settings(max_examples=150, deadline=None)
@given(guitars())
def test_every_guitar_reads_back(guitar: Guitar) -> None:
    assert guitar_from_mapping(guitar_to_mapping(guitar)) == guitar
    for string in guitar.strings:
        octave = guitar.pitch_hz(string, 0) * 2
        if guitar.frets >= 12:
            assert abs(guitar.pitch_hz(string, 12) / octave - 1) < 1e-12


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS) | st.text(max_size=30), anything, max_size=6))
def test_anything_is_a_guitar_or_refused(mapping: dict[str, Any]) -> None:
    try:
        guitar = guitar_from_mapping(mapping)
    except GuitarError as error:
        message = str(error)
        assert 10 < len(message) < 400
        assert message.isprintable()
        return
    assert guitar_from_mapping(guitar_to_mapping(guitar)) == guitar
