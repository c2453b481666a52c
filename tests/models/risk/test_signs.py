from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.risk.assumed import SIGN_PRIORS
from models.risk.signs import MOST_ODDS_SHIFT, learned_shares, sign_of, with_sign


def test_the_sign_that_proves_right_more_often_counts():
    frame = pd.DataFrame(
        {
            "last_verdict": ["pass", "suspect", "fail", None],
            "last_conclusion": ["dropouts_seen", "dropouts_seen", "nothing_seen", None],
        }
    )
    found = sign_of(frame, SIGN_PRIORS)
    assert found.tolist()[:3] == ["dropouts_seen", "dropouts_seen", "fail"]
    assert found.isna().tolist() == [False, False, False, True]


def test_a_worn_band_counts_only_beside_another_sign():
    frame = pd.DataFrame(
        {
            "last_verdict": ["suspect", "suspect", "pass", "suspect"],
            "last_conclusion": None,
            "last_band": [True, False, True, None],
        }
    )
    found = sign_of(frame, SIGN_PRIORS)
    assert found.tolist()[:2] == ["worn_band", "suspect"]
    assert found.isna().tolist() == [False, False, True, False]
    assert found[3] == "suspect"


def test_counts_that_cannot_be_are_refused():
    bad = pd.DataFrame({"sign": ["fail"], "followed_up": [2], "confirmed": [3]})
    with pytest.raises(ValueError, match="fail: confirmed is 3, expected 0 to 2"):
        learned_shares(bad)
    with pytest.raises(ValueError, match="sign is 'rattle'"):
        learned_shares(bad.assign(sign="rattle"))


def test_a_sign_outweighs_the_curve():
    """However unlike two sensors are by the curve, the sign's share moves within its limit."""
    ok = np.log1p(-np.array([1e-9, 0.999]))[None, :, None]
    found = -np.expm1(with_sign(ok, np.array([0.8]), np.zeros((1, 2))))[0, :, 0]
    odds = found / (1 - found)
    assert odds == pytest.approx([4 / MOST_ODDS_SHIFT, 4 * MOST_ODDS_SHIFT])


def test_alike_by_the_curve_sensors_have_the_share_of_the_sign():
    ok = np.log1p(-np.array([[0.1, 0.3], [0.1, 0.3]]))[None]
    found = -np.expm1(with_sign(ok, np.array([0.6]), np.zeros((1, 2))))[0]
    assert found[:, 0] == pytest.approx([0.6, 0.6])
    # ahead, those without the defect get it as the curve says
    assert found[:, 1] == pytest.approx(1 - 0.4 * (0.7 / 0.9))


def test_silence_since_the_test_speaks_against_the_sign():
    ok = np.log1p(-np.array([0.2, 0.2]))[None, :, None]
    found = -np.expm1(with_sign(ok, np.array([0.5]), np.array([[0.0, np.log(0.25)]])))[0, :, 0]
    assert found == pytest.approx([0.5, 0.2])
