import numpy as np
import pandas as pd

from models.wear.groups import Group, joined, levels_of, one_hot

X = pd.DataFrame({"part_no": ["A", "B", "A"], "duty": ["x", None, "y"]})
PAIR = ("part_no", "duty")


def test_levels_leave_blanks_out():
    assert levels_of(X, ("duty",)) == ("x", "y")
    assert len(levels_of(X, PAIR)) == 2


def test_a_pair_with_a_blank_is_blank():
    assert joined(X, PAIR)[1] == ""


def test_a_row_has_its_own_column_or_none():
    group = Group(PAIR, levels_of(X, PAIR), slice(0, 2), slice(2, 2))
    assert one_hot(X, group).sum(axis=1).tolist() == [1.0, 0.0, 1.0]
    other = pd.DataFrame({"part_no": ["C"], "duty": ["x"]})
    assert not np.any(one_hot(other, group))
