import numpy as np
import pandas as pd
import pytest

from models.plans.cheapest import weigh
from models.plans.check_costs import check_costs
from models.plans.need import part_need
from models.plans.new_life import AGES_KM
from models.plans.outlook import outlook_ahead, outlook_of
from models.plans.policy import KM_AHEAD
from models.plans.schemas import PLAN_SENSORS
from models.plans.settings import PlanSettings
from models.risk.outlook import (
    DEFECT_BY_DAY,
    DEFECT_BY_KM,
    NEW_LIFE_CURVE,
    OUTLOOK_DAYS,
    OUTLOOK_KM,
    ByDay,
    DefectsAhead,
)

RATES = pd.DataFrame(
    [{"heard_per_km": 2e-4, "road_share": 0.5, "sensitivity": 0.9, "false_alarm": 0.02}]
)
SENSORS = pd.DataFrame(
    {
        "sensor_id": ["a", "b", "c"],
        "unit_id": ["u", "u", "v"],
        "shop_id": "north",
        "fleet_id": None,
        "part_no": "P1",
        "new_part_no": "P1",
        "part_cost": 100.0,
        "defect_now": [0.1, None, 0.2],
        "km_per_day": [40.0, 40.0, None],
        "new_hazard_ratio": 1.0,
    }
)
BY_KM = pd.DataFrame(
    {"sensor_id": ["a", "a", "c", "c"], "km": [0.0, 9e4] * 2, "defect": [0.1, 0.6, 0.2, 0.9]}
)
BY_DAY = pd.DataFrame(
    {
        "sensor_id": ["a"] * 4,
        "draw": [0, 0, 1, 1],
        "days": [0, 7, 0, 7],
        "defect": [0.1, 0.12, 0.2, 0.22],
        "heard": [0.0, 0.03, 0.0, 0.04],
    }
)
CURVE = pd.DataFrame({"age_km": [0.0, 2e5], "cumulative_hazard": [0.0, 4.0]})


def outlook(by_km=BY_KM, by_day=BY_DAY, curve=CURVE):
    return outlook_of(SENSORS, _placed(by_km), _placed(by_day), curve, RATES)


def _placed(rows):
    places = dict(zip(SENSORS["sensor_id"], range(len(SENSORS)), strict=True))
    named = rows.assign(place=rows["sensor_id"].map(places).astype("float64"))
    return {name: named[name].to_numpy() for name in named.columns if name != "sensor_id"}


def test_sensors_with_all_that_is_needed_are_known():
    assert outlook().known.tolist() == [0]


def test_values_stand_with_their_sensor_fit_and_day():
    view = outlook()
    assert view.defect.shape == (3, 2, 2)
    assert view.heard[0].tolist() == [[0.0, 0.03], [0.0, 0.04]]
    assert np.isnan(view.defect[1:]).all()


def test_the_defect_within_each_step_by_the_hazard_drawn_straight():
    """From 0.9 sound to 0.4 over 90,000 km: over any stretch its share of the hazard."""
    onset = outlook().onset[0]
    whole = np.log(0.9 / 0.4)
    assert -np.log1p(-onset) == pytest.approx(whole * np.diff(KM_AHEAD) / 9e4, rel=1e-6)


@pytest.mark.parametrize("chance", [1e-3, 0.123, 0.6, 1 - 2.0**-24])
def test_where_the_chance_stands_still_no_step_has_less_than_none(chance):
    """Drawn straight between two equal hazards, some points come out a last digit below them."""
    still = pd.DataFrame({"sensor_id": "a", "km": OUTLOOK_KM, "defect": np.float32(chance)})
    onset = outlook(still).onset[0]
    assert onset.min() >= 0.0
    assert onset.max() < 1e-12


def test_the_curve_of_a_new_sensor():
    assert outlook().new_hazard == pytest.approx(4.0 * np.minimum(AGES_KM, 2e5) / 2e5)


def test_with_nothing_known_nobody_is():
    view = outlook(DEFECT_BY_KM.empty(), DEFECT_BY_DAY.empty(), NEW_LIFE_CURVE.empty())
    assert view.known.size == 0
    assert view.onset.shape == (3, len(KM_AHEAD) - 1)
    assert np.isnan(view.new_hazard).all()
    work = dict.fromkeys(("work", "work_days", "owed_for"))
    none = pd.DataFrame({"sensor_id": ["a", "b", "c"], **work})
    assert check_costs(view, weigh(view, PlanSettings()), none, PlanSettings()).empty
    need = part_need(view, none)
    assert need.shape == (3, 1, len(view.days))
    assert np.isnan(need).all()
    none = outlook_of(
        PLAN_SENSORS.empty(),
        _placed(DEFECT_BY_KM.empty()),
        _placed(DEFECT_BY_DAY.empty()),
        CURVE,
        RATES,
    )
    assert none.known.size == 0


def test_the_order_of_the_rows_is_of_no_matter():
    view, other = outlook(), outlook(BY_KM.iloc[::-1], BY_DAY.iloc[[2, 0, 3, 1]])
    for name in ("onset", "days", "defect", "heard"):
        np.testing.assert_array_equal(getattr(view, name), getattr(other, name))


def test_a_masked_value_is_blank_and_not_nought():
    rows = _placed(BY_DAY)
    rows["heard"] = np.ma.masked_array([0.0, 0.03, 0.0, 9.0], mask=[False, False, False, True])
    view = outlook_of(SENSORS, _placed(BY_KM), rows, CURVE, RATES)
    assert np.isnan(view.heard[0, 1, 1])
    assert view.heard[0, 0].tolist() == [0.0, 0.03]


@pytest.mark.parametrize("kind", [np.float64, np.float32])
def test_chances_at_hand_are_laid_out_as_those_read(kind):
    """Kept as rows and read, or taken as they lie: of sensors in another order, one not ridden."""
    rng = np.random.default_rng(5)
    drawn = np.maximum.accumulate(rng.uniform(0, 0.5, (3, 2, len(OUTLOOK_KM))), axis=-1)
    drawn = drawn.astype(kind)
    defect, heard = rng.uniform(0, 0.5, (2, 1, 3, len(OUTLOOK_DAYS))).astype(kind)
    by_day = ByDay(pd.Series(["b"], dtype="str"), np.array(OUTLOOK_DAYS), defect, heard)
    ids = np.array(["c", "b"], dtype=object)
    ahead = DefectsAhead(np.array(OUTLOOK_KM), by_day, ids, drawn, np.ones(3))
    by_km = pd.concat(ahead.by_km_parts())
    assert by_km["sensor_id"].tolist() == ids.repeat(len(OUTLOOK_KM)).tolist()
    assert by_km["km"].tolist() == [*OUTLOOK_KM, *OUTLOOK_KM]
    assert by_km["defect"].tolist() == drawn[0].ravel().tolist()
    found = outlook_ahead(SENSORS, ahead, CURVE, RATES)
    read = outlook(by_km, pd.concat(by_day.parts()))
    for name in ("onset", "new_hazard", "days", "known"):
        np.testing.assert_array_equal(getattr(found, name), getattr(read, name))
    for places in (slice(None), np.array([2, 0, 1]), np.array([1])):
        for own, other in zip(found.by_days(places), read.by_days(places), strict=True):
            np.testing.assert_array_equal(own, other)
        for name in ("onset", "defect", "heard"):
            values = getattr(found.of(places), name), getattr(read.of(places), name)
            np.testing.assert_array_equal(*values)
    assert (found.heard_per_km, found.road_share, found.test) == (
        *(read.heard_per_km, read.road_share),
        read.test,
    )


def test_with_no_chances_at_hand_nobody_is_known():
    none = np.zeros((0, 0, len(OUTLOOK_KM)))
    by_day = ByDay(pd.Series(dtype="str"), np.array(OUTLOOK_DAYS), *np.zeros((2, 0, 1, 12)))
    ahead = DefectsAhead(np.array(OUTLOOK_KM), by_day, np.zeros(0, object), none, np.zeros(0))
    view = outlook_ahead(SENSORS, ahead, CURVE, RATES)
    assert view.known.size == 0
    assert np.isnan(view.by_days(slice(None))[1]).all()
    assert view.by_days(slice(None))[0].shape == (3, 1, 12)
