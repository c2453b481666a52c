"""What is assumed and what the records made of it: the season's row by hand."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from models.risk.assumed import TEST_SENSITIVITY
from models.risk.schemas import FOLLOWED_UP
from pipeline.warehouse.assumed_and_learned import assumed_and_learned


def told(model) -> pd.DataFrame:
    results = SimpleNamespace(
        model=model, settings={"sensitivity": TEST_SENSITIVITY, "shares": {}}, summary={}
    )
    return assumed_and_learned(results, FOLLOWED_UP.empty()).set_index("quantity")


def test_the_season_is_told_as_january_over_july():
    """b = 0.3 x 1 and its deviation 0.3 x 0.5; from January to July the cosine falls by 2."""
    model = SimpleNamespace(
        n_season_=1,
        season_sd=0.3,
        coef_=np.array([7.0, 1.0]),
        covariance_=np.diag([9.0, 0.25]),
        n_defects_=1_200,
    )
    row = told(model).loc["season"]
    assert row["unit"] == "times"
    assert row["learned"] == pytest.approx(np.exp(0.6))
    assert row["learned_low"] == pytest.approx(np.exp(0.6 - 1.645 * 0.3), rel=1e-3)
    assert row["learned_high"] == pytest.approx(np.exp(0.6 + 1.645 * 0.3), rel=1e-3)
    assert row["assumed"] == 1.0
    assert row["assumed_low"] == pytest.approx(np.exp(-1.645 * 0.6), rel=1e-3)
    assert "1,200 defects" in row["rests_on"]


@pytest.mark.parametrize("model", [None, SimpleNamespace(n_season_=0)])
def test_without_dates_or_a_model_there_is_no_season(model):
    assert told(model).index.tolist() == ["sensitivity", "delay"]
