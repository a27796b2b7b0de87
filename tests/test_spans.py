"""Whole numbers in short name exactly what they stand for."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buzzscan.spans import listed


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ((), ""),
        ((7,), "7"),
        ((5, 4), "4–5"),
        ((3, 1, 2), "1–3"),
        ((1, 2, 3, 7), "1–3, 7"),
        ((3, 3, 4, 5), "3–5"),
    ],
)
def test_numbers_are_listed_in_short(values: tuple[int, ...], said: str) -> None:
    assert listed(values) == said


@given(st.sets(st.integers(0, 36)))
def test_a_list_names_exactly_its_values(values: set[int]) -> None:
    named: set[int] = set()
    for part in filter(None, listed(values).split(", ")):
        first, _, last = part.partition("–")
        named |= set(range(int(first), int(last or first) + 1))
    assert named == values
