"""What each factor holds: a sensor's own values, and those of the middle sensor of its part."""

import numpy as np
import pytest

from models.risk.factors import COLUMNS, FACTORS, middle_values, near_middle, own_values
from models.risk.states import near_km


@pytest.fixture(scope="module")
def sensors(wearing_records):
    now = wearing_records["sensors_now"]
    now = now[now["age_now_km"].notna()].reset_index(drop=True)
    few = now["part_no"].eq(now["part_no"].iloc[0]) & (np.arange(len(now)) >= 4)
    return now.assign(part_no=now["part_no"].mask(few, "OTHER"))


def test_every_factor_but_the_reading_holds_values(sensors):
    own = own_values(sensors, np.full(len(sensors), 0.5))
    assert set(COLUMNS) == set(FACTORS) - {"reading"}
    assert all(name in own for columns in COLUMNS.values() for name in columns)


def test_the_middle_sensor_is_that_of_its_part_or_of_all_where_there_are_few(sensors):
    own = own_values(sensors, np.linspace(0.0, 1.0, len(sensors)))
    middle = middle_values(sensors, np.linspace(0.0, 1.0, len(sensors)))
    sizes = sensors["part_no"].map(sensors["part_no"].value_counts())
    assert sizes.min() < 5 <= sizes.max()
    for name in ("age_now_km", "since_contact", "in_view"):
        for part_no, rows in own.groupby(sensors["part_no"]):
            of = rows[name] if len(rows) >= 5 else own[name]
            told = middle.loc[sensors["part_no"].eq(part_no), name]
            assert told.to_numpy() == pytest.approx(of.median())
    assert middle[["duty", "shop_id", "last_verdict"]].isna().all(axis=None)
    assert not middle["repaired"].any()


def test_middle_values_go_to_the_nearest_step(sensors):
    middle = middle_values(sensors, np.full(len(sensors), 0.52))
    near = near_middle(middle, 0.5)
    assert np.allclose(near["since_test"], near_km(middle["since_test"].to_numpy(), 0.5))
    assert np.allclose(near["in_view"], 0.5)
