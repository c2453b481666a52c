from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.risk.assumed import SIGN_PRIORS, BetaPrior
from models.risk.hazard import DefectHazard
from models.risk.now import defect_chances, usual_test_spacing_km
from models.risk.past_tests import good_test_gaps
from models.risk.signs import learned_shares
from tests.models.risk.published_lives import lives
from tests.models.risk.simulated_fleet import Truth, simulate

PERFECT = BetaPrior(1e9, 1e-3)


@pytest.fixture(scope="module")
def model():
    return DefectHazard().fit(simulate(500, 1, share_unknown=0.2)[0])


def sensors(n=1, **columns):
    frame = {
        "part_no": "P1",
        "duty": "D0",
        "repaired": False,
        "age_known": True,
        "entry_km": 0.0,
        "age_now_km": 30_000.0,
        "good_km": 25_000.0,
        "last_verdict": "pass",
        "last_conclusion": "nothing_seen",
    }
    return pd.DataFrame(frame | columns, index=range(n))


def chance(model, frame, **settings):
    return defect_chances(model, frame, n_resamples=20, **settings).chance


def survival(model, age, n=1):
    return model.predict_survival(sensors(n), np.broadcast_to(float(age), (n,)))[0]


def test_with_a_perfect_test_only_the_km_since_count(model):
    found = chance(model, sensors(), sensitivity=PERFECT)[0]
    for i, ahead in enumerate((0, 1_000, 5_000, 10_000)):
        expected = 1 - survival(model, 30_000 + ahead) / survival(model, 25_000)
        assert found[i] == pytest.approx(expected, rel=1e-6)


def test_with_a_useless_test_a_pass_says_nothing(model):
    useless = BetaPrior(1e-9, 1e9)
    found = chance(model, sensors(), sensitivity=useless)[0, 0]
    assert found == pytest.approx(1 - survival(model, 30_000), rel=1e-5)


def test_earlier_tests_are_a_bayes_step_each(model):
    """Tests at 25,000 and 15,000 km with sensitivity 0.8, worked by enumeration."""
    s = BetaPrior(8e8, 2e8)
    frame = sensors(entry_km=10_000.0)
    found = chance(model, frame, sensitivity=s, spacing_km=10_000.0)[0, 0]
    S = [survival(model, a) for a in (15_000, 25_000, 30_000)]
    passed = (1 - S[0]) * 0.2**2 + (S[0] - S[1]) * 0.2 + S[1]
    assert found == pytest.approx(1 - S[2] / passed, rel=1e-6)


def test_earlier_tests_count_at_the_km_at_which_they_were_made(model):
    """Good tests at 25,000, 22,000 and 14,000 km with sensitivity 0.8, worked by enumeration."""
    s = BetaPrior(8e8, 2e8)
    frame = sensors(entry_km=10_000.0).assign(life_id="A")
    tests = pd.DataFrame(
        {
            "life_id": "A",
            "read_km": [14_000.0, 25_000.0, 22_000.0, 24_000.0],
            "passed": [True, True, True, False],
        }
    )
    gaps = good_test_gaps(frame, tests, 6_000.0)
    assert gaps.tolist() == [[0.0, 3_000.0, 11_000.0]]
    found = chance(model, frame, sensitivity=s, gaps_km=gaps)[0, 0]
    S = [survival(model, a) for a in (14_000, 22_000, 25_000, 30_000)]
    passed = (1 - S[0]) * 0.2**3 + (S[0] - S[1]) * 0.2**2 + (S[1] - S[2]) * 0.2 + S[2]
    assert found == pytest.approx(1 - S[3] / passed, rel=1e-6)
    alone = good_test_gaps(frame, tests.head(0), 6_000.0)
    assert np.isnan(alone[0, 1:]).all()


def test_a_sensor_never_tested_has_the_whole_curve(model):
    found = chance(model, sensors(good_km=np.nan))[0, 0]
    assert found == pytest.approx(1 - survival(model, 30_000), rel=1e-9)


def test_a_cleaned_sensor_begins_sound_at_its_cleaning(model):
    frame = sensors(repaired=True, entry_km=28_000.0, good_km=np.nan)
    S = [model.predict_survival(frame, np.array([age]))[0] for age in (28_000.0, 30_000.0)]
    assert chance(model, frame)[0, 0] == pytest.approx(1 - S[1] / S[0], rel=1e-9)
    tested = chance(model, frame.assign(good_km=28_000.0))[0, 0]
    assert tested == pytest.approx(1 - S[1] / S[0], rel=1e-9)


def test_an_unknown_age_is_averaged_over(model):
    frame = sensors(age_known=False, age_now_km=8_000.0, good_km=3_000.0)
    found = chance(model, frame, sensitivity=PERFECT)[0, 0]
    ages = model.entry_ages_
    S = [np.array([survival(model, a + km) for a in ages]) for km in (0, 3_000, 8_000)]
    assert found == pytest.approx(1 - (S[2] / S[0]).sum() / (S[1] / S[0]).sum(), rel=1e-6)
    new = chance(model, frame.assign(age_known=True), sensitivity=PERFECT)[0, 0]
    assert found > 2 * new


def test_a_sign_takes_the_learned_share(model):
    followed = pd.DataFrame({"sign": ["fail"], "followed_up": [20], "confirmed": [17]})
    shares = learned_shares(followed)
    assert shares["fail"] == BetaPrior(
        SIGN_PRIORS["fail"].hits + 17, SIGN_PRIORS["fail"].misses + 3
    )
    found = chance(model, sensors(last_verdict="fail"), shares=shares)[0]
    assert found[0] == pytest.approx(20 / 24)
    assert (np.diff(found) > 0).all()


def test_the_curve_moves_a_sign_by_bayes_within_its_limit(model):
    """Two sensors with the sign, one a little and one far more worn."""
    frame = sensors(2, last_verdict="suspect", age_now_km=[30_000.0, 31_000.0])
    p = chance(model, frame.assign(last_verdict="pass"))[:, 0]
    found = chance(model, frame)[:, 0]
    odds = found / (1 - found)
    assert odds[1] / odds[0] == pytest.approx((p[1] / (1 - p[1])) / (p[0] / (1 - p[0])), rel=1e-6)
    far = chance(model, frame.assign(age_now_km=[25_100.0, 150_000.0]))[:, 0]
    q = SIGN_PRIORS["suspect"].mean
    assert far == pytest.approx([q / 3 / (1 - q + q / 3), 3 * q / (1 - q + 3 * q)], abs=0.08)
    assert far.min() >= q / 3 / (1 - q + q / 3) - 1e-9


def test_usual_spacing_is_that_of_the_windows():
    seen = lives(0.0, [10.0, 20.0, 30.0], [13.0, 25.0, np.nan])
    assert usual_test_spacing_km(seen) == 4.0
    assert usual_test_spacing_km(seen.tail(1)) == 6_000.0


@settings(max_examples=40)
@given(
    age=st.floats(0, 300_000),
    since=st.lists(st.floats(0, 1), min_size=2, max_size=2),
    entry=st.floats(0, 1),
    known=st.booleans(),
    verdict=st.sampled_from(["pass", "fail", "suspect"]),
    mean=st.floats(0.5, 0.99),
)
def test_more_km_since_the_last_good_test_never_lower_the_risk(
    model, age, since, entry, known, verdict, mean
):
    good = age * np.sort(since)
    frame = sensors(
        2,
        age_now_km=age,
        good_km=good,
        entry_km=good[0] * entry,
        age_known=known,
        last_verdict=verdict,
    )
    s = BetaPrior(mean * 50, (1 - mean) * 50)
    # One at a time: in service together, they would share one average.
    earlier, later = (
        defect_chances(model, frame.iloc[[i]], sensitivity=s, n_resamples=20) for i in (0, 1)
    )
    assert (earlier.chance >= later.chance - 1e-9).all()
    for found in (earlier, later):
        assert (np.diff(found.chance, axis=1) >= -1e-12).all()
        assert (found.low >= 0).all()
        assert (found.low <= found.chance).all()
        assert (found.chance <= found.high).all()
        assert (found.high <= 1).all()


def test_chances_are_calibrated_where_tests_miss():
    """Sensitivity 0.8, known to the model: expected against true defects among those in service."""
    truth = Truth(sensitivity=0.8)
    windows, now = simulate(4_000, 21, truth)
    model = DefectHazard().fit(windows)
    s = BetaPrior(8e6, 2e6)
    spacing = usual_test_spacing_km(windows)
    found = defect_chances(model, now, sensitivity=s, spacing_km=spacing, n_resamples=0).chance[
        :, 0
    ]
    blind = defect_chances(model, now, sensitivity=PERFECT, n_resamples=0).chance[:, 0]
    true = now["truly_defective"].mean()
    assert found.mean() == pytest.approx(true, rel=0.15)
    assert abs(blind.mean() / true - 1) > 0.15
