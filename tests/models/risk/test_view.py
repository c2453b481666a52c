"""Whether an unread bike is still in view, and what that does to the record."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.risk.assumed import BetaPrior
from models.risk.lives import with_doubts
from models.risk.schemas import LIFE_WINDOWS, SENSORS_NOW
from models.risk.score import fit_and_score
from models.risk.view import followed_on, in_view_chances
from tests.models.risk.published_lives import lives
from tests.models.risk.simulated_fleet import with_contact


def gaps(closed, still_open) -> pd.DataFrame:
    days = [*closed, *still_open]
    return pd.DataFrame(
        {
            "unit_id": [f"U{i}" for i in range(len(days))],
            "gap_days": np.array(days, dtype=float),
            "open": [False] * len(closed) + [True] * len(still_open),
        }
    )


def lost_customers(bikes: int, lost: float, seed: int):
    """Each bike seen again after 150 to 350 days, or lost with a given chance at each contact."""
    rng = np.random.default_rng(seed)
    rows, gone = [], {}
    for i in range(bikes):
        day = rng.uniform(0, 500)
        while True:
            left, gap = rng.random() < lost, rng.uniform(150, 350)
            if left or day + gap > 2_000:
                rows.append((f"U{i}", 2_000 - day, True))
                gone[f"U{i}"] = left
                break
            rows.append((f"U{i}", gap, False))
            day += gap
    return pd.DataFrame(rows, columns=["unit_id", "gap_days", "open"]), pd.Series(gone)


def test_bikes_in_view_are_told_by_how_long_they_are_unread():
    frame, gone = lost_customers(1_500, 0.1, 1)
    found = in_view_chances(frame)
    assert found.sum() == pytest.approx((~gone).sum(), rel=0.05)
    wait = frame[frame["open"]].set_index("unit_id")["gap_days"]
    assert (found[wait > 350] == 0).all()
    middle = wait.between(230, 290)
    assert found[middle].mean() == pytest.approx(1 - gone[middle].mean(), abs=0.08)


def test_one_step_of_bayes():
    """A tenth lost for sure; half of the closed gaps are longer than the open one: 0.45 / 0.55."""
    found = in_view_chances(gaps([100, 300], [200]), prior=BetaPrior(1e9, 9e9))
    assert found["U2"] == pytest.approx(0.45 / 0.55)


def test_without_a_closed_gap_no_bike_is_taken_to_be_in_view():
    assert in_view_chances(gaps([], [200])).tolist() == [0.0]


def test_the_worked_examples_of_the_record():
    record = lives([0.0, 0, 0], [10.0, 20, 20], [np.nan] * 3).assign(
        contact_km=[20.0, 26, np.nan],
        doubt_km=[np.nan, 26, np.nan],
        doubt_sign=[None, "fail", None],
    )
    record = with_doubts(LIFE_WINDOWS.check(record), {"fail": BetaPrior(9, 1)})
    now = SENSORS_NOW.check(record.assign(age_now_km=24.0, last_verdict=None, last_conclusion=None))
    found = followed_on(record, now, pd.Series({"S0": 0.8, "S1": 0.5}))
    row = found.assign(times=found["times"].round(9)).set_index(["life_id", "times"])
    assert row.loc[("S0", 0.8), "contact_km"] == 24
    assert row.loc[("S0", 0.2), "contact_km"] == 20
    assert row.loc[("S1", 0.9), "bad_km"] == 26
    assert np.isnan(row.loc[("S1", 0.1), "bad_km"])
    assert found.groupby("life_id")["times"].sum().tolist() == pytest.approx([1, 1, 1])


def test_cutting_private_bikes_at_their_last_contact_overstates_the_risk():
    """Half the bikes were last read up to 12,000 km ago, though all would have come if failed."""
    windows, now = with_contact(1_200, 3)
    rng = np.random.default_rng(4)
    unread = now.assign(
        contact_km=np.maximum(now["age_now_km"] - rng.uniform(0, 12_000, len(now)), 0)
    )
    short = windows.set_index("life_id")
    short.loc[unread["life_id"], "contact_km"] = unread["contact_km"].to_numpy()
    short = short.reset_index()
    days = rng.uniform(10, 400, 4_000)
    frame = gaps(days, []).assign(unit_id="other")
    waiting = gaps([], [1.0] * len(now)).assign(unit_id=unread["unit_id"])
    known = fit_and_score(
        short, unread, contact_gaps=pd.concat([frame, waiting]), n_resamples=0
    ).defect_risk
    blind = fit_and_score(short, unread, n_resamples=0).defect_risk
    true = now["truly_defective"].sum()
    assert known["defect_now"].sum() == pytest.approx(true, rel=0.2)
    assert blind["defect_now"].sum() > 1.5 * true
    assert (known["defect_now_if_all_heard"] <= known["defect_now"] + 1e-9).all()
    assert (known["defect_now"] <= known["defect_now_if_silent"] * 1.5 + 0.05).all()


def visits(slope: float, seed: int) -> tuple[pd.DataFrame, pd.Series, pd.Series]:
    """Bikes seen again after 200 days x (pace / 30) ** slope, give or take 40 %, or lost."""
    rng = np.random.default_rng(seed)
    rows, gone, paces = [], {}, {}
    for i in range(800):
        day, pace = rng.uniform(0, 300), 30.0 * np.exp(0.5 * rng.standard_normal())
        paces[f"U{i}"] = pace
        while True:
            left = rng.random() < 0.1
            gap = 200 * (pace / 30) ** slope * rng.uniform(0.6, 1.4)
            if left or day + gap > 2_000:
                rows.append((f"U{i}", 2_000 - day, True))
                gone[f"U{i}"] = left
                break
            rows.append((f"U{i}", gap, False))
            day += gap
    frame = pd.DataFrame(rows, columns=["unit_id", "gap_days", "open"])
    return frame, pd.Series(gone), pd.Series(paces)


@pytest.mark.parametrize("slope", [-1.0, -0.5, 0.0])
def test_a_bike_that_runs_more_is_missed_sooner_where_visits_go_by_km(slope):
    """Bikes ridden hard and unread for half a year: as many still in view as foretold."""
    frame, gone, pace = visits(slope, 6)
    found = in_view_chances(frame, km_per_day=pace)
    wait = frame[frame["open"]].set_index("unit_id")["gap_days"]
    asked = (pace > 40) & wait.between(120, 400)
    assert found[asked].sum() == pytest.approx((~gone)[asked].sum(), abs=6)
    blind = in_view_chances(frame)
    off = [abs(chance[asked].sum() - (~gone)[asked].sum()) for chance in (found, blind)]
    assert slope == 0 or off[0] < off[1]


def test_a_bike_whose_pace_is_not_known_counts_as_of_usual_pace():
    frame = gaps([100, 300, 100, 300], [200])
    assert in_view_chances(frame, km_per_day=pd.Series(dtype=float)).equals(in_view_chances(frame))
    pace = pd.Series([60.0, 20.0, 60.0, 20.0], ["U0", "U1", "U2", "U3"])
    assert 0 < in_view_chances(frame, km_per_day=pace)["U4"] < 1
