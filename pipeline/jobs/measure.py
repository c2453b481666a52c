"""Measure the sweeps that are not measured yet; keep the results so that each is measured once.

A result is kept under a key of all it rests on: the samples, what the bench test says of them,
and the version of the measurement. A corrected supply reading thus measures that sweep anew and
no other. Results are kept by batches of five files and the seal that says they are whole; a batch
that is no longer whole is measured anew. Samples are read here, and unpacked by whoever measures.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import duckdb
import pandas as pd

from models.frames import FrameSchema
from models.sweeps import schemas
from models.sweeps.measure import MEASURE_VERSION
from pipeline.home import Home
from pipeline.intake.seals import broken, seal
from pipeline.jobs.measured_batch import Batch, measured_batch
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import as_done
from pipeline.kept_sweeps.places import packed_of
from pipeline.statements import run
from pipeline.warehouse.carried import is_there
from pipeline.warehouse.held_memory import let_go
from pipeline.warehouse.mart_keys import KEYS
from pipeline.warehouse.shape import schema_digest

RESULTS = {
    "measures": schemas.MEASURES,
    "dropouts": schemas.DROPOUTS,
    "profile": schemas.PROFILE,
    "passes": schemas.PASSES,
    "findings": schemas.FINDINGS,
}
#: Results of a batch are kept together, and lost together with a worker: some hundred sweeps.
BATCH_SAMPLES = 2_000_000
#: Work of so many batches is made into more, since who has none left waits; but not into tiny ones.
_FEW_BATCHES = 24
_SMALL_BATCH_SAMPLES = 250_000


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
    before = {*batches(home)}
    todo = _unmeasured(connection, home)
    batches_of_todo = list(_batches(todo))
    load = partial(_with_samples, home)
    let_go(connection)
    with work.counted("Measuring sweeps", "sweep", len(todo)) as step:
        for number, results in as_done(measured_batch, batches_of_todo, work.workers, load=load):
            batch = batches_of_todo[number]
            _keep_batch(home, f"{batch['measure_key'].iloc[0][:16]}-{number:04d}", results)
            step(len(batch))
    _load_results(connection, home, todo, [stem for stem in batches(home) if stem not in before])
    connection.execute("drop table kept_measures")
    return len(todo)


def _batches(todo: pd.DataFrame) -> Iterator[pd.DataFrame]:
    """Sessions together up to a bounded number of samples, those of one file side by side."""
    least = max(_SMALL_BATCH_SAMPLES, todo["sample_count"].sum() // _FEW_BATCHES)
    number = todo["sample_count"].cumsum() // min(BATCH_SAMPLES, least)
    for _, batch in todo.groupby(number, sort=False):
        yield batch


def _with_samples(home: Home, batch: pd.DataFrame) -> Batch:
    places = zip(batch["samples_name"], batch["session_id"], strict=True)
    return packed_of(home, places), batch


def _keep_batch(home: Home, stem: str, results: dict[str, bytes]) -> None:
    for name in reversed(RESULTS):  # measures last: its presence says that all five are whole
        final = _result(home, stem, name)
        draft = final.with_suffix(".draft")
        draft.write_bytes(results[name])
        draft.replace(final)
    seal(seal_of_batch(home, stem), [_result(home, stem, name) for name in RESULTS])


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


def _unmeasured(connection: duckdb.DuckDBPyConnection, home: Home) -> pd.DataFrame:
    """Rows of ``sweep_contexts`` without a kept result, those of one file side by side."""
    paths = _kept(home, "measures")
    if paths:
        run(connection, "warehouse/sql/kept_measures", {"paths": paths})
    else:
        run(connection, "warehouse/sql/no_kept_measures")
    return run(connection, "warehouse/sql/unmeasured_sweeps").df()


def _load_results(
    connection: duckdb.DuckDBPyConnection, home: Home, measured: pd.DataFrame, new: list[str]
) -> None:
    """Load the kept results of the sweeps as they stand; those of replaced sweeps stay behind.

    Those carried over stay, but for sweeps that are ``measured`` in this build, whose results are
    in the ``new`` batches. Rows come in the order of their keys: sorting by numbers takes half as
    long as by whole rows, and no two rows have the same key.
    """
    carried = is_there(connection, "marts", "sweep_contexts_before")
    if carried:
        _take_away_others(connection, measured)
    run(connection, f"warehouse/sql/{'carried/sweeps_to_load' if carried else 'sweep_order'}")
    stems = [*_stems_to_load(connection), *new] if carried else batches(home)
    for name, schema in RESULTS.items():
        _load(connection, name, schema, [str(_result(home, stem, name)) for stem in stems])
    for table in ("sweep_order", *(("marts.sweep_contexts_before",) if carried else ())):
        connection.execute(f"drop table {table}")


def _take_away_others(connection: duckdb.DuckDBPyConnection, measured: pd.DataFrame) -> None:
    """Leave ``sweep_contexts_before`` and results of those sweeps alone that are as they were."""
    connection.register("measured_now", measured[["measure_key"]])
    run(connection, "warehouse/sql/carried/other_sweeps")
    connection.unregister("measured_now")
    for table in ("contexts_before", *RESULTS):
        connection.execute(
            f"delete from marts.sweep_{table} "  # noqa: S608 - declared names
            "where session_id in (select session_id from other_sweeps)"
        )


def _stems_to_load(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Batches kept before that hold some of ``sweep_order``."""
    found = run(connection, "warehouse/sql/carried/batches_to_load").fetchall()
    return [Path(path).name.split(".")[0] for (path,) in found]


def _load(
    connection: duckdb.DuckDBPyConnection, name: str, schema: FrameSchema, paths: list[str]
) -> None:
    table = f"marts.sweep_{name}"
    there = is_there(connection, "marts", f"sweep_{name}")
    if not paths:
        if not there:
            connection.register("empty_results", schema.empty())
            connection.execute(f"create table {table} as from empty_results")
            connection.unregister("empty_results")
        return
    columns = ", ".join(f'kept."{column}"' for column in schema.names)
    _, *within = KEYS[f"sweep_{name}"]
    order = ", ".join(["ordered.place", *(f'kept."{column}"' for column in within)])
    connection.execute(
        f"{f'insert into {table}' if there else f'create table {table} as'} "  # noqa: S608
        f"select {columns} from read_parquet(?, union_by_name = true) as kept "
        f"join sweep_order as ordered using (measure_key) order by {order}",
        [paths],
    )
