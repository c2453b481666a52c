"""What the forms for bikes, sensors and closed jobs need: what is known to choose from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import duckdb
import pandas as pd

from pipeline.access.bench_view import last_odometer_km, sensors_on_bike
from pipeline.access.entered.pending import pending_rows
from pipeline.access.entered.standing import standing_in
from pipeline.access.frames import view_schemas as schemas
from pipeline.access.reading import Edition, NotThereError, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.settings.settings_file import read_settings
from pipeline.statements import run

Cells = dict[str, str]


@dataclass(frozen=True)
class Choices:
    """What is known to choose from, each by its key: contract rows as they stand, typed ones too.

    ``fitments`` are (part number, model, mount).
    """

    shops: dict[str, Cells]
    parts: dict[str, Cells]
    fitments: frozenset[tuple[str, str, str]]
    models: tuple[str, ...]
    fleets: tuple[str, ...]

    def parts_for(self, model_code: str, mount: str) -> list[str]:
        """Part numbers, those that fit the model's mount first."""
        fitting = {
            part for part, model, place in self.fitments if (model, place) == (model_code, mount)
        }
        return sorted(self.parts, key=lambda part: (part not in fitting, part))

    def fits(self, part_no: str, model_code: str, mount: str) -> bool:
        """Whether the part is on record as fitting there."""
        return (part_no, model_code, mount) in self.fitments


@dataclass(frozen=True)
class RegisterView:
    """One bike to be registered or changed, or none yet.

    ``unit`` is its contract row as it stands, ``sensors`` the contract rows of those on it now by
    sensor, ``odometer_km`` the last reading.
    """

    edition: Edition
    choices: Choices
    unit: Cells
    sensors: dict[str, Cells]
    odometer_km: float | None


@dataclass(frozen=True)
class JobView:
    """What closing a job on one bike needs.

    ``register`` as for a bike, ``tests`` identifiers and words of its sensors' tests by sensor,
    ``repairs`` BIKE_REPAIRS closed before, ``currency`` the shop's.
    """

    register: RegisterView
    tests: pd.DataFrame
    repairs: pd.DataFrame
    currency: str


@view
def register_view(home: Home, asker: Asker, unit_id: str = "") -> RegisterView:
    """What can be chosen, and the bike of a number where one is named.

    Raises
    ------
    NotThereError
        Nothing is published in this home, or no bike of this number was ever entered.
    """
    with reading(home, asker) as (manifest, connection):
        edition = edition_of(home, manifest)
        choices = _choices(connection, home, asker)
        if not unit_id:
            return RegisterView(edition, choices, {}, {}, None)
        return _of_bike(connection, home, asker, edition, choices, unit_id)


@view
def job_view(home: Home, asker: Asker, unit_id: str) -> JobView:
    """What closing a job on a bike needs; raises as :func:`register_view`."""
    with reading(home, asker) as (manifest, connection):
        choices = _choices(connection, home, asker)
        of_bike = _of_bike(connection, home, asker, edition_of(home, manifest), choices, unit_id)
        return JobView(
            of_bike,
            _tests(connection, home, asker, unit_id, of_bike.sensors),
            read_frame(connection, "bike_repairs", schemas.BIKE_REPAIRS, {"unit_id": unit_id}),
            read_settings(home).settings.currency,
        )


def _of_bike(
    connection: duckdb.DuckDBPyConnection,
    home: Home,
    asker: Asker,
    edition: Edition,
    choices: Choices,
    unit_id: str,
) -> RegisterView:
    unit = standing_in(connection, home, asker, "units", [unit_id]).get(unit_id)
    if unit is None:
        raise NotThereError(f"The records hold no bike {unit_id}.")
    here = sensors_on_bike(connection, home, asker, unit_id)["sensor_id"].tolist()
    return RegisterView(
        edition,
        choices,
        dict(unit),
        {
            key: dict(row)
            for key, row in standing_in(connection, home, asker, "sensors", here).items()
        },
        last_odometer_km(connection, home, asker, unit_id),
    )


def _choices(connection: duckdb.DuckDBPyConnection, home: Home, asker: Asker) -> Choices:
    typed = pending_rows(home, asker, "shops", "parts", "fitments", "units")
    known = run(connection, "access/sql/models_and_fleets").fetchall()
    units = typed["units"].values()
    models = {model for model, _ in known} | {row["model_code"] for row in units}
    fleets = {fleet for _, fleet in known} | {row.get("fleet_id") or "" for row in units}
    fitments = _standing(connection, "fitments", typed["fitments"]).values()
    return Choices(
        _standing(connection, "shops", typed["shops"]),
        _standing(connection, "parts", typed["parts"]),
        frozenset((row["part_no"], row["model_code"], row["mount"]) for row in fitments),
        tuple(sorted(models)),
        tuple(sorted(fleets - {""})),
    )


def _standing(
    connection: duckdb.DuckDBPyConnection, table: str, typed: Mapping[str, Cells]
) -> dict[str, Cells]:
    found = run(connection, "access/sql/standing_table", {"table_name": table}).fetchall()
    return dict(sorted((dict(found) | dict(typed)).items()))


def _tests(
    connection: duckdb.DuckDBPyConnection,
    home: Home,
    asker: Asker,
    unit_id: str,
    sensors: Mapping[str, Cells],
) -> pd.DataFrame:
    """Tests of the sensors on the bike, the latest first: session, sensor, day and verdict."""
    columns = ["session_id", "sensor_id", "tested_on", "verdict"]
    found = read_frame(connection, "bike_tests", schemas.BIKE_TESTS, {"unit_id": unit_id})
    published = found.sort_values("tested_on", ascending=False)[columns]
    typed = [
        (key, row["sensor_id"], pd.Timestamp(row["tested_at"][:10]), row.get("verdict"))
        for key, row in pending_rows(home, asker, "test_sessions")["test_sessions"].items()
        if row["sensor_id"] in sensors
    ]
    late = pd.DataFrame(typed, columns=columns)
    kept = published[~published["session_id"].isin(late["session_id"])]
    both = pd.concat([late.astype(kept.dtypes.to_dict()), kept], ignore_index=True)
    return both[both["sensor_id"].isin(list(sensors))].reset_index(drop=True)
