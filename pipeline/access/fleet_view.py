"""The fleet at a glance: chances by bike and week, what is not known, and when bikes are free."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import pandas as pd

from models.check_plan.schemas import CHECK_EVENTS, CHECK_VISITS
from models.frames import Column, FrameSchema
from models.plans.schemas import PLAN_RATES
from models.risk.bike_weeks import SENSOR_DAYS, WEEKS_SHOWN, any_of, bike_weeks
from pipeline.access.entered.pending import pending_in_order, pending_rows
from pipeline.access.frames.fleet_schemas import FLEET_BIKES, FLEET_WINDOWS
from pipeline.access.reading import Edition, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.statements import run

_ENDS = ("road", "road_low", "road_high")
_SENSOR_ROAD = FrameSchema(
    "fleet_sensor_road",
    "one sensor in service: chance of a road failure within 90 days",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        *(Column(name, "number", "chance, or an end of it", "0 to 1", True) for name in _ENDS),
    ),
)


#: Contract tables whose entries since the build the page shows.
ENTERED = ("units", "calendar", "retract")


@dataclass(frozen=True)
class FleetView:
    """``bikes`` FLEET_BIKES, those out of service too; ``weeks`` BIKE_WEEKS of those in service.

    ``windows`` FLEET_WINDOWS, ``visits`` CHECK_VISITS, ``events`` CHECK_EVENTS; ``road_share`` is
    the share of road failures among defects heard of.
    """

    edition: Edition
    bikes: pd.DataFrame
    weeks: pd.DataFrame
    windows: pd.DataFrame
    visits: pd.DataFrame
    events: pd.DataFrame
    road_share: float


@view
def fleet_view(home: Home, asker: Asker) -> FleetView:
    """Everything the page of the fleet shows, windows and retirements typed since the build too.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (manifest, connection):
        edition = edition_of(home, manifest)
        day = {"as_of": edition.as_of}
        (rates,) = read_frame(connection, "plan_rates", PLAN_RATES).to_dict("records")
        bikes = _with_typed(home, asker, _bikes(connection, edition.as_of))
        windows = run(connection, "access/sql/fleet_windows", day).df()
        return FleetView(
            edition,
            bikes,
            _weeks(connection, bikes, rates["road_share"], edition.as_of),
            windows_with_typed(home, asker, windows.assign(state="planned"), bikes, edition.as_of),
            read_frame(connection, "check_visits", CHECK_VISITS),
            read_frame(connection, "check_events", CHECK_EVENTS),
            rates["road_share"],
        )


def _bikes(connection: duckdb.DuckDBPyConnection, day: date) -> pd.DataFrame:
    """FLEET_BIKES without what was typed; ends of a bike's chance by the ends of its sensors'."""
    bikes = run(connection, "access/sql/fleet_bikes", {"as_of": day}).df()
    sensors = read_frame(connection, "fleet_sensor_road", _SENSOR_ROAD)
    chances = {name: any_of(sensors["unit_id"], sensors[name]) for name in _ENDS}
    return bikes.assign(
        **{name: bikes["unit_id"].map(chance) for name, chance in chances.items()},
        typed_out_on=pd.NaT,
        typed_back=False,
    )


def _weeks(
    connection: duckdb.DuckDBPyConnection, bikes: pd.DataFrame, road_share: float, day: date
) -> pd.DataFrame:
    ahead = {"days": WEEKS_SHOWN * 7}
    days = read_frame(connection, "fleet_sensor_days", SENSOR_DAYS, ahead)
    in_service = bikes.loc[~bikes["out_of_service"].astype(bool), "unit_id"]
    return bike_weeks(in_service, days, road_share, day)


def _with_typed(home: Home, asker: Asker, bikes: pd.DataFrame) -> pd.DataFrame:
    """FLEET_BIKES with bikes that were taken out of service, or back, since the build."""
    typed = pending_rows(home, asker, "units")["units"]
    if not typed:
        return FLEET_BIKES.check(bikes)
    rows = bikes.to_dict("records")
    for row in rows:
        cells = typed.get(row["unit_id"])
        if cells is None:
            continue
        out_on = pd.Timestamp(cells["out_of_service_on"]) if _out(cells) else pd.NaT
        row["typed_out_on"] = out_on if out_on != row["out_of_service_on"] else pd.NaT
        row["typed_back"] = not _out(cells) and bool(row["out_of_service"])
    return FLEET_BIKES.check(pd.DataFrame(rows, columns=FLEET_BIKES.names))


def _out(cells: dict[str, str]) -> bool:
    return bool(cells.get("out_of_service_on"))


def windows_with_typed(
    home: Home, asker: Asker, windows: pd.DataFrame, bikes: pd.DataFrame, day: date
) -> pd.DataFrame:
    """FLEET_WINDOWS: those planned with, and those typed or taken back since.

    Parameters
    ----------
    home : Home
        Where they were typed.
    asker : Asker
        Who asks.
    windows : frame
        FLEET_WINDOWS of the build.
    bikes : frame
        FLEET_BIKES; windows of other bikes are left out.
    day : date
        The as-of day; windows that end before it are left out.
    """
    typed = pending_in_order(home, asker, "calendar", "retract")
    if not typed:
        ahead = windows[windows["free_to"] >= pd.Timestamp(day)]
        ahead = ahead.sort_values(["free_from", "label", "unit_id"], kind="stable")
        return FLEET_WINDOWS.check(ahead.reset_index(drop=True))
    labels = dict(zip(bikes["unit_id"], bikes["label"], strict=True))
    known = {window_key(row): row for row in windows.to_dict("records")}
    for row in typed:
        if row.table == "calendar" and row.cells["unit_id"] in labels:
            known[row.key] = _as_window(row.cells, labels, known.get(row.key))
        elif row.cells.get("table") == "calendar" and row.cells["key"] in known:
            _take_back(known, row.cells["key"])
    rows = [row for row in known.values() if row["free_to"] >= pd.Timestamp(day)]
    rows.sort(key=lambda row: (row["free_from"], row["label"], row["unit_id"]))
    return FLEET_WINDOWS.check(pd.DataFrame(rows, columns=FLEET_WINDOWS.names))


def _as_window(cells: dict[str, str], labels: dict[str, str], before: dict | None) -> dict:
    """A window as typed; one that the plan holds already stays planned."""
    planned = before is not None and before["state"] != "typed"
    return {
        "unit_id": cells["unit_id"],
        "label": labels[cells["unit_id"]],
        "free_from": pd.Timestamp(cells["free_from"]),
        "free_to": pd.Timestamp(cells["free_to"]),
        "state": "planned" if planned else "typed",
    }


def _take_back(known: dict[str, dict], key: str) -> None:
    """One that the plan rests on is shown as taken back until the next build; a typed one goes."""
    if known[key]["state"] == "typed":
        del known[key]
    else:
        known[key] = known[key] | {"state": "taken_back"}


def window_key(row: dict) -> str:
    """The contract's key of a window."""
    return f"{row['unit_id']}/{row['free_from']:%Y-%m-%d}/{row['free_to']:%Y-%m-%d}"
