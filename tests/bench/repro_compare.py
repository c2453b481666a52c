"""Hold two warehouses side by side, table by table: byte for byte, and by the worst difference."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.environment import CHECKOUT
from pipeline.statements import connect

#: Names of paths in the home, which differ from home to home.
PATHS = {"intake.files": ("rows_path", "issues_path")}


@dataclass(frozen=True)
class Difference:
    """One table that differs: the worst relative difference of a number, and what else differs."""

    table: str
    worst: float
    other: str = ""


def built(
    root: Path,
    files: str,
    *,
    threads: int,
    hash_seed: int,
    omp: int = 1,
    forced: bool = False,
    zone: str = "UTC",
) -> Path:
    """Build a home from nothing in a process of its own, under a time zone; its warehouse."""
    words = [sys.executable, "-m", "tests.bench.repro_build", str(root), files, str(threads)]
    own = {"PYTHONHASHSEED": str(hash_seed), "PYTHONPATH": CHECKOUT, "TZ": zone}
    own |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), str(omp))
    done = subprocess.run(
        words + ["forced"] * forced,
        cwd=CHECKOUT,
        env=os.environ | own,
        capture_output=True,
        text=True,
        check=True,
    )
    return Path(done.stdout.strip().splitlines()[-1])


def not_the_same_bytes(first: Path, second: Path) -> list[str]:
    """Tables whose rows, ordered by all columns and written out, are not the same bytes."""
    one, two = _written(first), _written(second)
    return sorted(name for name in one.keys() | two.keys() if one.get(name) != two.get(name))


def _written(warehouse: Path) -> dict[str, bytes]:
    with tempfile.TemporaryDirectory(prefix="tables-") as folder:
        path = Path(folder) / "table.csv"
        connection = connect(warehouse, read_only=True)
        try:
            found = {}
            for name in _tables(connection):
                columns = _columns(connection, name)
                connection.execute(
                    f"copy (select {columns} from {name} order by all) to '{path}' (header true)"
                )
                found[name] = path.read_bytes()
            return found
        finally:
            connection.close()


def _tables(connection) -> list[str]:
    rows = connection.execute(
        "select schema_name || '.' || table_name from duckdb_tables() order by all"
    ).fetchall()
    return [row[0] for row in rows]


def _columns(connection, name: str) -> str:
    left_out = ", ".join(PATHS.get(name, ()))
    return f"* exclude ({left_out})" if left_out else "*"


def differences(first: Path, second: Path) -> list[Difference]:
    """Every table that differs in anything, by its worst number."""
    one, two = connect(first, read_only=True), connect(second, read_only=True)
    try:
        names = _tables(one)
        if names != _tables(two):
            return [Difference("", np.inf, "the tables are not the same")]
        found = [compared(name, _rows(one, name), _rows(two, name)) for name in names]
    finally:
        one.close()
        two.close()
    return [difference for difference in found if difference.worst or difference.other]


def _rows(connection, name: str) -> pd.DataFrame:
    """Rows ordered by what cannot move in its last digit first."""
    frame = connection.execute(f"select {_columns(connection, name)} from {name}").df()
    moving = [column for column in frame if pd.api.types.is_float_dtype(frame[column])]
    keys = [column for column in frame if column not in moving]
    as_text = frame[keys].map(str)
    order = pd.concat([as_text, frame[moving]], axis=1).sort_values(keys + moving).index
    return frame.loc[order].reset_index(drop=True)


def compared(table: str, one: pd.DataFrame, two: pd.DataFrame) -> Difference:
    """Two frames of a table held against each other, row by row."""
    if len(one) != len(two) or list(one) != list(two):
        return Difference(table, np.inf, f"{len(one)} rows and {len(two)} rows")
    worst, other = 0.0, []
    for column in one:
        a, b = one[column], two[column]
        if a.equals(b):
            continue
        if pd.api.types.is_float_dtype(a):
            worst = max(worst, relative(a.to_numpy(float), b.to_numpy(float)))
        elif (a.map(str) != b.map(str)).any():
            other.append(column)
    return Difference(table, worst, ", ".join(other))


def relative(a: np.ndarray, b: np.ndarray) -> float:
    """The worst difference over the larger of both numbers; infinite where one is blank alone."""
    if (np.isnan(a) != np.isnan(b)).any():
        return np.inf
    known = ~np.isnan(a) & (a != b)
    a, b = a[known], b[known]
    scale = np.maximum(np.abs(a), np.abs(b))
    return float(np.max(np.abs(a - b) / scale, initial=0.0))
