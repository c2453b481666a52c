"""The record as it stood on an earlier day is what a build from the rows of then would have made."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from models.risk import schemas
from models.simulate.shops import simulate_shops
from pipeline.home import Home
from pipeline.intake.receive import receive
from pipeline.jobs.seed import write_csv
from pipeline.statements import connect
from pipeline.warehouse.build import build
from pipeline.warehouse.earlier import came_to_light, earlier_record

DAY, UNTIL, END = date(2023, 9, 1), date(2024, 2, 28), date(2026, 10, 31)
TABLES = ("shops", "units", "odometer", "parts", "sensors", "test_sessions", "repair_outcomes")


@pytest.fixture(scope="module")
def tables():
    made = simulate_shops(31, n_bikes=24, sweeps=False, mistakes=False).tables
    return {name: made[name] for name in TABLES}


def _built(folder, tables, as_of):
    files = folder / "files"
    files.mkdir()
    for name, frame in tables.items():
        write_csv(frame, files / f"{name}.csv")
    home = Home(folder / "home").prepare()
    receive(home, [files])
    return connect(build(home, as_of=as_of).path)


def _known_by(tables: dict[str, pd.DataFrame], day: date) -> dict[str, pd.DataFrame]:
    """The rows that a shop could have handed in on the day, cut out by other means than SQL."""
    at = day.isoformat()
    tests = tables["test_sessions"]
    tests = tests[tests["tested_at"].str[:10] <= at]
    repairs = tables["repair_outcomes"]
    repairs = repairs[repairs["closed_on"].astype(str) <= at]
    odometer = tables["odometer"]
    odometer = odometer[odometer["read_on"].astype(str) <= at]
    sensors, units = tables["sensors"].copy(), tables["units"].copy()
    of_bike = sensors.set_index("sensor_id")["unit_id"]
    here = sensors[sensors["origin"].eq("fitted_here") & (sensors["fitted_on"].astype(str) <= at)]
    seen = sensors[sensors["first_seen_on"].notna() & (sensors["first_seen_on"].astype(str) <= at)]
    bikes = {*odometer["unit_id"], *tests["sensor_id"].map(of_bike), *here["unit_id"]}
    bikes |= {*repairs["sensor_id"].map(of_bike), *seen["unit_id"]}
    first_test = tests.groupby("sensor_id")["tested_at"].min().str[:10]
    began = sensors["fitted_on"].fillna(sensors["first_seen_on"])
    began = began.fillna(sensors["sensor_id"].map(first_test)).astype(str)
    sensors = sensors[sensors["unit_id"].isin(bikes) & (began <= at)].copy()
    later = sensors["removed_on"].notna() & (sensors["removed_on"].astype(str) > at)
    sensors.loc[later, ["removed_on", "removed_km", "removed_reason"]] = None
    units = units[units["unit_id"].isin(bikes)].copy()
    gone = units["out_of_service_on"].notna() & (units["out_of_service_on"].astype(str) > at)
    units.loc[gone, "out_of_service_on"] = None
    cut = {
        "units": units,
        "odometer": odometer,
        "sensors": sensors,
        "test_sessions": tests,
        "repair_outcomes": repairs,
    }
    return tables | cut


@pytest.fixture(scope="module")
def whole(tables, tmp_path_factory):
    """The whole record, writable: an earlier one is made beside it."""
    folder = tmp_path_factory.mktemp("whole")
    connection = _built(folder, tables, END)
    yield connection
    connection.close()


def test_the_earlier_record_is_the_one_that_would_have_been_built_then(
    whole, tables, tmp_path_factory
):
    then = _built(tmp_path_factory.mktemp("then"), _known_by(tables, DAY), DAY)
    expected = _frames_built(then)
    with earlier_record(whole, DAY) as earlier:
        frames = earlier.frames
        outcomes = earlier.connection.execute("from marts.check_outcomes order by all").df()
        bands = earlier.connection.execute("from marts.check_bands order by all").df()
    assert 10 < len(frames.sensors_now) < _sensor_count(whole)
    assert frames.windows["bad_km"].notna().sum() >= 2
    for name in ("life_windows", "sensors_now", "followed_up", "contact_gaps", "wear_readings"):
        field = "windows" if name == "life_windows" else name
        pd.testing.assert_frame_equal(
            _sorted(getattr(frames, field)), _sorted(expected[name]), check_dtype=False
        )
    pd.testing.assert_frame_equal(
        outcomes, then.execute("from marts.check_outcomes order by all").df()
    )
    pd.testing.assert_frame_equal(bands, then.execute("from marts.check_bands order by all").df())
    then.close()


def _frames_built(connection) -> dict[str, pd.DataFrame]:
    now = connection.execute("from marts.sensors_now where kind is distinct from 'contactless'")
    frames = {"sensors_now": schemas.SENSORS_NOW.check(now.df())}
    for name in ("life_windows", "followed_up", "contact_gaps", "wear_readings"):
        schema = getattr(schemas, name.upper())
        frames[name] = schema.check(connection.execute(f"from marts.{name}").df())
    return frames


def _sorted(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.sort_values(list(frame.columns)).reset_index(drop=True)


def _sensor_count(connection) -> int:
    return connection.execute("select count(*) from staging.sensors").fetchall()[0][0]


def test_what_came_to_light_is_what_the_whole_record_says(whole, tables):
    with earlier_record(whole, DAY) as earlier:
        seen = came_to_light(earlier, UNTIL)
    repairs = tables["repair_outcomes"]
    closed = repairs["closed_on"].astype(str)
    confirmed = repairs[
        repairs["fault_confirmed"].eq("yes")
        & repairs["action"].isin(["sensor_replaced", "sensor_cleaned"])
        & repairs["confirmed_by"].ne("verdict_only")
        & (closed > DAY.isoformat())
        & (closed <= UNTIL.isoformat())
    ]
    assert set(seen.loc[seen["found"], "sensor_id"]) == set(confirmed["sensor_id"]) & set(
        seen["sensor_id"]
    )
    assert (seen["run_km"] >= 0).all()
    assert seen["sensor_id"].is_unique


def test_km_run_are_those_of_the_odometer_between_the_two_days(whole):
    with earlier_record(whole, DAY) as earlier:
        seen = came_to_light(earlier, UNTIL).set_index("sensor_id")
    readings = whole.execute(
        "select sensors.sensor_id, readings.read_on, max(readings.odometer_km) as km "
        "from marts.readings join marts.sensor_lives as sensors using (unit_id) "
        "where sensors.in_service group by all order by all"
    ).df()
    checked = 0
    for sensor_id, own in readings.groupby("sensor_id"):
        days = own["read_on"].astype("int64").to_numpy()
        if sensor_id not in seen.index or own["read_on"].max() < pd.Timestamp(UNTIL):
            continue
        at = pd.Series(pd.to_datetime([DAY, UNTIL])).astype(own["read_on"].dtype).astype("int64")
        km = np.interp(at, days, own["km"])
        assert seen.loc[sensor_id, "run_km"] == pytest.approx(km[1] - km[0], abs=1e-6)
        checked += 1
    assert checked >= 5


def test_nothing_of_the_earlier_day_is_left_in_the_warehouse(whole):
    before = whole.execute("select count(*) from duckdb_tables()").fetchall()
    with earlier_record(whole, DAY):
        pass
    assert whole.execute("select count(*) from duckdb_tables()").fetchall() == before
    assert "earlier_day" not in str(whole.execute("from duckdb_databases()").fetchall())
