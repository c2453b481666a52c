"""Measure the sweeps that are not measured yet; keep the results so that each is measured once.

A result is kept under a key of all it rests on: the samples, what the bench test says of them,
and the version of the measurement. A corrected supply reading thus measures that sweep anew and
no other. Results are kept by batches of five files and the seal that says they are whole; a batch
that is no longer whole is measured anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import duckdb
import pandas as pd

from models.sweeps import schemas
from models.sweeps.measure import MEASURE_VERSION, SweepResults, measure_sweeps
from pipeline.home import Home
from pipeline.intake.seals import broken, seal
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import as_done
from pipeline.kept_sweeps.places import samples_of
from pipeline.statements import run
from pipeline.warehouse.shape import schema_digest

RESULTS = {
    "measures": schemas.MEASURES,
    "dropouts": schemas.DROPOUTS,
    "profile": schemas.PROFILE,
    "passes": schemas.PASSES,
    "findings": schemas.FINDINGS,
}
BATCH_SAMPLES = 2_000_000


def measure_missing(
    connection: duckdb.DuckDBPyConnection, home: Home, work: LongWork | None = None
) -> int:
    """Measure every standing sweep without a kept result; return how many were measured.

    Each batch is kept as soon as it is measured, so that what was done stands whatever becomes of
    the rest. Fills the tables ``marts.sweep_measures``, ``sweep_dropouts``, ``sweep_profile``,
    ``sweep_passes`` and ``sweep_findings``.
    """
    work = work or LongWork()
    run(
        connection,
        "warehouse/sql/marts/sweep_contexts",
        {"version": f"{MEASURE_VERSION}/{schema_digest(RESULTS.values())}"},
    )
    _refuse_damaged(connection, home, work.say)
    known = _keys(connection, _kept(home, "measures"))
    contexts = connection.execute(
        "from marts.sweep_contexts order by samples_name, session_id"
    ).df()
    todo = contexts[~contexts["measure_key"].isin(known)]
    batches_of_todo = list(_batches(todo))
    load = partial(_with_samples, home)
    with work.counted("Measuring sweeps", "sweep", len(todo)) as step:
        for number, results in as_done(_measured, batches_of_todo, work.workers, load=load):
            _keep_batch(connection, home, batches_of_todo[number], number, results)
            step(len(batches_of_todo[number]))
    _load_results(connection, home)
    return len(todo)


def _batches(todo: pd.DataFrame) -> Iterator[pd.DataFrame]:
    """Sessions together up to a bounded number of samples, those of one file side by side."""
    number = todo["sample_count"].cumsum() // BATCH_SAMPLES
    for _, batch in todo.groupby(number, sort=False):
        yield batch


def _with_samples(home: Home, batch: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    places = zip(batch["samples_name"], batch["session_id"], strict=True)
    return schemas.SAMPLES.check(samples_of(home, places)), batch


def _measured(loaded: tuple[pd.DataFrame, pd.DataFrame]) -> SweepResults:
    return measure_sweeps(*loaded)


def _keep_batch(
    connection: duckdb.DuckDBPyConnection,
    home: Home,
    batch: pd.DataFrame,
    number: int,
    results: SweepResults,
) -> None:
    keys = batch[["session_id", "measure_key"]]
    stem = f"{batch['measure_key'].iloc[0][:16]}-{number:04d}"
    for name in reversed(RESULTS):  # measures last: its presence says that all five are whole
        frame = getattr(results, name).merge(keys, on="session_id")
        _keep(connection, frame, _result(home, stem, name))
    seal(seal_of_batch(home, stem), [_result(home, stem, name) for name in RESULTS])


def _keep(connection: duckdb.DuckDBPyConnection, frame: pd.DataFrame, final: Path) -> None:
    draft = final.with_suffix(".draft")
    connection.register("kept_frame", frame)
    quoted = str(draft).replace("'", "''")
    connection.execute(f"copy (from kept_frame) to '{quoted}' (format parquet, compression zstd)")
    connection.unregister("kept_frame")
    draft.replace(final)


def _result(home: Home, stem: str, name: str) -> Path:
    return home.measured / f"{stem}.{name}.parquet"


def seal_of_batch(home: Home, stem: str) -> Path:
    """Where it is said that the results of a batch are whole."""
    return home.measured / f"{stem}.json"


def batches(home: Home) -> list[str]:
    """Batches whose results are kept; of one that was killed, the measures are missing."""
    return sorted(path.name.split(".")[0] for path in home.measured.glob("*.measures.parquet"))


def _kept(home: Home, name: str) -> list[str]:
    return [str(_result(home, stem, name)) for stem in batches(home)]


def _refuse_damaged(
    connection: duckdb.DuckDBPyConnection, home: Home, say: Callable[[str], None]
) -> None:
    """Take batches away that are not whole, so that their sweeps are measured anew."""
    for stem in batches(home):
        card = seal_of_batch(home, stem)
        files = [_result(home, stem, name) for name in RESULTS]
        if not card.exists() and _readable(connection, files):
            seal(card, files)  # kept before results were sealed, or killed just before it
            continue
        amiss = broken(card)
        if amiss:
            say(f"What was measured of some sweeps {amiss}. They are measured again")
            for path in (*reversed(files), card):  # the measures, which stand for all, last
                path.unlink(missing_ok=True)


def _readable(connection: duckdb.DuckDBPyConnection, files: list[Path]) -> bool:
    try:
        for path in files:
            connection.execute("from read_parquet(?)", [str(path)]).fetchall()
    except duckdb.Error:
        return False
    return True


def _keys(connection: duckdb.DuckDBPyConnection, paths: list[str]) -> set[str]:
    if not paths:
        return set()
    found = run(connection, "warehouse/sql/measured_keys", {"paths": paths}).fetchall()
    return {row[0] for row in found}


def _load_results(connection: duckdb.DuckDBPyConnection, home: Home) -> None:
    """Load the kept results of the sweeps as they stand; those of replaced sweeps stay behind."""
    for name, schema in RESULTS.items():
        paths = _kept(home, name)
        if not paths:
            connection.register("empty_results", schema.empty())
            connection.execute(f"create table marts.sweep_{name} as from empty_results")
            connection.unregister("empty_results")
            continue
        columns = ", ".join(f'kept."{column}"' for column in schema.names)
        connection.execute(
            f"create table marts.sweep_{name} as select {columns} "  # noqa: S608 - declared names
            "from read_parquet(?, union_by_name = true) as kept "
            "semi join marts.sweep_contexts using (measure_key) order by all",
            [paths],
        )
