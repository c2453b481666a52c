"""A sweep dropped in at the bench and not saved yet: read as the intake will, and measured."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from models.sweeps.measure import SweepResults, measure_sweeps
from models.sweeps.schemas import CONTEXTS, SAMPLES
from pipeline.access.sweep_traces import thinned
from pipeline.intake.read_sweeps import samples_into
from pipeline.intake.receive import HandedFile
from pipeline.statements import connect, run

FILE = "sweeps.csv"
#: Cells that say nothing are listed up to this many; the rest are counted.
LISTED = 5


@dataclass(frozen=True)
class TypedSweep:
    """What one sweep shows before it is saved.

    ``troubles`` are sentences on cells that the intake will blank or set aside, ``measures`` one
    row of MEASURES or None, ``dropouts`` DROPOUTS, ``profile`` PROFILE, ``trace`` TRACE.
    """

    troubles: tuple[str, ...]
    measures: dict | None
    dropouts: pd.DataFrame
    profile: pd.DataFrame
    trace: pd.DataFrame


def typed_sweep(
    sensor: Mapping[str, object], test: Mapping[str, object], content: bytes, name: str = FILE
) -> TypedSweep:
    """Measure one sweep by itself.

    Parameters
    ----------
    sensor : mapping
        One row of BENCH_SENSORS.
    test : mapping
        Cells of ``test_sessions`` as far as they are typed; ``session_id`` among them.
    content : bytes
        The contract's file of this one sweep.
    name : str
        What the file is called: its ending tells CSV from Parquet.
    """
    samples, troubles = _read(content, name, str(test["session_id"]))
    swept = measured(test, sensor, samples)
    found = swept.measures.to_dict("records") if len(samples) else []
    trace = thinned(samples.drop(columns="session_id"))
    return TypedSweep(troubles, found[0] if found else None, swept.dropouts, swept.profile, trace)


def measured(
    test: Mapping[str, object], sensor: Mapping[str, object], samples: pd.DataFrame
) -> SweepResults:
    """The sweep of one test, with what test and sensor say of it."""
    known = {name: test.get(name) or sensor.get(name) for name in CONTEXTS.names}
    context = pd.DataFrame([known], dtype=object)
    return measure_sweeps(samples, CONTEXTS.check(context))


def _read(content: bytes, name: str, session_id: str) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """SAMPLES, and what the intake has against the file."""
    connection = connect()
    try:
        with tempfile.TemporaryDirectory(prefix="sweep-") as folder:
            path = Path(folder) / name
            path.write_bytes(content)
            samples_into(connection, HandedFile(0, 1, name, path, datetime.now(UTC).date()))
            listed = run(connection, "access/sql/issues_as_typed").fetchall()
            found = run(connection, "access/sql/samples_as_typed", {"session_id": session_id}).df()
    finally:
        connection.close()
    return SAMPLES.check(found), _sentences(listed)


def _sentences(listed: list[tuple]) -> tuple[str, ...]:
    said = [
        f"line {line}, {column or 'whole line'}: {reason}" if line else str(reason)
        for line, column, reason in listed[:LISTED]
    ]
    more = len(listed) - LISTED
    return (*said, *([f"and {more:,} more of this kind"] if more > 0 else []))
