import numpy as np
import pandas as pd
import pytest

from models.risk.assumed import EARLIER_SD, GROUP_SD, REPAIRED_SD, RIDING_SD
from models.risk.covariates import LifeColumns


@pytest.fixture
def lives():
    return pd.DataFrame(
        {
            "part_no": ["P", "Q", "P", None],
            "duty": ["tour", None, "tour", "hire"],
            "shop_id": ["A", "A", None, "B"],
            "repaired": [False, True, False, None],
            "km_per_day": [10.0, 40.0, 20.0, np.nan],
            "earlier_repairs": [0, 5, None, 1],
        }
    )


def test_a_column_a_group_scaled_by_its_spread(lives):
    columns = LifeColumns().fit_transform(lives)
    assert columns.shape == (4, 2 + 2 + 2 + 3)
    assert columns[0, :6] == pytest.approx(GROUP_SD * np.array([1, 0, 0, 1, 1, 0]))
    assert columns[3, :2] == pytest.approx([0, 0])
    assert columns[:, 6] == pytest.approx(REPAIRED_SD * np.array([0, 1, 0, 0]))
    assert columns[:, 8] == pytest.approx(EARLIER_SD * np.array([0, 2, 0, 1]))


def test_riding_is_told_apart_by_its_logarithm_and_a_blank_is_the_middle(lives):
    riding = LifeColumns().fit_transform(lives)[:, 7] / RIDING_SD
    assert riding[2] == riding[3] == 0
    assert riding[0] == -riding[1] <= -1


def test_what_was_never_seen_or_is_absent_has_the_common_hazard(lives):
    fitted = LifeColumns().fit(lives)
    strange = pd.DataFrame({"part_no": ["X"], "duty": [None], "repaired": [False]})
    assert not fitted.transform(strange).any()


def test_equal_lives_share_a_pattern(lives):
    first, number = LifeColumns().fit(lives).patterns(pd.concat([lives, lives]))
    assert len(first) == 4
    assert (number[:4] == number[4:]).all()
    assert (number[first] == np.arange(4)).all()
