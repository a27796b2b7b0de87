"""Boosted trees: where rows end up, what is added, and what is no tree."""

from __future__ import annotations

import numpy as np
import pytest

from buzzscan.measures.trees import read_trees

# root: column 0 over 1; then column 1 over 5 or column 2 over -1; a tree of no effect but +1
TWO_DEEP = """
0 1.0 1 5.0 2 -1.0 0.1 0.2 0.3 0.4
0 0.0 0 0.0 0 0.0 1.0 1.0 1.0 1.0
"""


@pytest.mark.parametrize(
    ("row", "end"),
    [
        ((0.0, 0.0, 9.0), 0.1),
        ((0.0, 6.0, 9.0), 0.2),
        ((2.0, 6.0, -2.0), 0.3),
        ((2.0, 6.0, 0.0), 0.4),
        # on a bar is below it
        ((1.0, 5.0, 0.0), 0.1),
    ],
)
def test_a_row_goes_from_the_root_to_its_end(row: tuple[float, ...], end: float) -> None:
    trees = read_trees(TWO_DEEP, start=-10.0)
    assert trees.sums(np.array([row]))[0] == pytest.approx(-10.0 + end + 1.0)


def test_rows_are_told_one_by_one() -> None:
    trees = read_trees(TWO_DEEP, start=0.0)
    rows = np.random.default_rng(1).normal(1.0, 4.0, (40, 3))
    together = trees.sums(rows)
    assert np.unique(together).size == 4
    np.testing.assert_array_equal(together, [trees.sums(row[None])[0] for row in rows])
    assert trees.sums(np.zeros((0, 3))).shape == (0,)


def test_a_grown_forest_sums_up_as_its_maker_says() -> None:
    """Against scikit-learn, through the text that training writes."""
    from sklearn.ensemble import HistGradientBoostingRegressor
    from training.tree_text import baseline, tree_lines

    rng = np.random.default_rng(2)
    # whole numbers, so that bars lie midway between rows and three places are exact
    rows = rng.integers(-20, 20, (600, 4)).astype(np.float64)
    target = np.abs(rows[:, 0]) + rows[:, 1] * (rows[:, 2] > 0.0)
    grown = HistGradientBoostingRegressor(
        max_iter=30, max_depth=3, max_leaf_nodes=8, random_state=0
    ).fit(rows, target)
    trees = read_trees("\n".join(tree_lines(grown, depth=3)), start=baseline(grown))
    # ends have four places, and thirty of them add up
    np.testing.assert_allclose(trees.sums(rows), grown.predict(rows), atol=30 * 1e-4)


@pytest.mark.parametrize(
    "text",
    ["", "0 1.0 2.0", "0 1.0 2.0 3.0 4.0", "0 1.0 0.1 0.2\n0 1.0 1 5.0 2 -1.0 0.1 0.2 0.3 0.4"],
)
def test_what_is_no_full_tree_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no full trees"):
        read_trees(text, start=0.0)
