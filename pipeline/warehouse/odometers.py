"""Odometer readings as the estimate of km a day takes them: some bikes at a time, as numbers."""

from __future__ import annotations

from collections.abc import Iterator

import duckdb
import numpy as np
import pyarrow as pa

from models.risk.odometer_stretches import BikeReadings
from pipeline.statements import statement

#: Bikes whose readings are held at a time.
BIKES_AT_ONCE = 4_000


def odometers(
    connection: duckdb.DuckDBPyConnection, bikes_at_once: int = BIKES_AT_ONCE
) -> Iterator[BikeReadings]:
    """Readings of all bikes in ``marts.odometer_readings``, by the order of their names.

    Until the last part has been taken, nothing else can be asked of the connection.
    """
    asked = connection.sql(statement("warehouse/sql/odometers_by_bike"))
    for batch in asked.to_arrow_reader(bikes_at_once):
        if batch.num_rows:
            yield _bikes(batch)


def _bikes(batch: pa.RecordBatch) -> BikeReadings:
    days, km = batch.column("days"), batch.column("km")
    return BikeReadings(
        np.array(batch.column("unit_id").to_pylist(), dtype=object),
        np.array(batch.column("ridden_as").to_pylist(), dtype=object),
        np.diff(days.offsets.to_numpy()).astype(int),
        days.flatten().to_numpy(zero_copy_only=False).astype(int),
        km.flatten().to_numpy(zero_copy_only=False).astype(float),
    )
