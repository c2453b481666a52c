"""Write the committed demo extract: contract files, their truth, and what they are.

``python -m pipeline.jobs.seed [DIRECTORY] [--seed N]``. The same seed and library versions give
the same bytes. Everything in it is simulated by ``models.simulate``.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from models.simulate.repairs import CALLED_IN_KM
from models.simulate.shops import SimulatedShops, simulate_shops
from models.simulate.world import AS_OF, DEFAULT_SEED, FIRST_DAY, SHORTAGE

DIRECTORY = Path(__file__).resolve().parents[2] / "seed_data"
ROW_GROUP_ROWS = 1 << 20  # one page a column and group lets the compressor see like sweeps
RETRACT_FILE = "retract-2026-10.csv"
TRUTH_FILES = ("bikes", "spells", "sessions", "sweeps", "dropouts", "passes", "mistakes")
SWEEP_TYPES = {
    "session_id": pa.string(),
    "t_s": pa.float64(),
    "signal": pa.float32(),
    "signal_b": pa.float32(),
    "travel_pct": pa.float32(),
}

_README = """# Demo data: an invented scenario

Four workshops, three fleets and their private customers, {first} to {as_of}. **Nothing here is
measured.** Shops, fleets, bikes, part numbers and readings are invented; every reading comes from
the simulation in `models/simulate/`, whose assumed constants stand in `world.py`, `track.py`,
`hand.py`, `logger.py` and beside the code that uses them.

Made by `python -m pipeline.jobs.seed` with seed {seed}. The same seed and the same library
versions give the same files, byte for byte.

- `shops/`: what the shops hand in, in the format of the intake contract. CSV tables, and one
  Parquet file of sweeps a shop.
- `truth/`: what was really so. The tool never reads it; the tests compare with it.

## What is in it

{counts}

How it comes about, in short: bikes are ridden by duty and season; each duty holds the throttle at
certain travels, and there the track wears; roughness comes first, then lift-offs of the wiper (the
defect), some thousand km later the sensor lets the rider down. Weak specimens fail early; bikes
differ in frailty. Shops test at some visits, on complaints, after repairs and when they call a bike
in; verdicts err, plugs and leads fail too, some bikes are not seen again, some replaced sensors
were sound, and unplugging a sensor with the key on leaves fault codes behind. One part number has
been superseded, one has two tracks, one is contactless and does not wear.

Odometers: a fleet's bikes send their reading on the first of each month, with a few months missing;
private bikes are read at visits, and the shops write to their owners in April, August and October,
whom not all answer. Fleets test every bike once each September or October and at many services in
between. A doubtful sensor is called in again after {called_in} km, since one lift-off in several
strokes is no verdict; so some worn tracks were recorded several times on their way.

Jobs still open at the end: from {short_from} on, the supplier cannot deliver {short_part} to
{short_shops}; the delivery is promised for {short_until}.
Bikes there whose sensor has failed since then stand and wait ({open_jobs} of them on the last day);
those shops have none on the shelf. How often bikes are tested was chosen so that the last day shows
some of everything.

## Truth

| file | one row is | of note |
|---|---|---|
| `bikes.csv` | a bike | frailty, mean km a day, when and how it left view |
| `spells.csv` | a life of a sensor from fitting or cleaning on | `defect_onset_km`, \
`road_failure_km` (odometer, also where nobody lived to see them), worn band, how it ended |
| `sessions.csv` | a bench test | whether the sensor was defective, km since onset, lead fault |
| `sweeps.csv` | a recorded sweep | rate, noise, true smoothness, drop-outs, visible drop-outs |
| `dropouts.csv` | a drop-out | start, length, travel, depth, direction, cause, visible |
| `passes.csv` | a stroke of the hand | start, end, direction, complete, reversals |
| `mistakes.csv` | a cell written wrong on purpose | see below |

A drop-out is *visible* where at least one noise-free sample at the recorded rate lies deeper than
35 mV (at 5 V) and eight sigma.

## Mistakes planted on purpose

{mistakes}

Whatever depends on a row that waits (tests and sweeps of a sensor) waits with it.
"""


def write_seed(directory: Path, *, seed: int = DEFAULT_SEED) -> SimulatedShops:
    """Simulate the demo's shops and write them below a directory.

    Parameters
    ----------
    directory : Path
        Gets ``shops/`` (contract files), ``truth/`` and ``README.md``; files of the same names
        are replaced, others left alone.
    seed : int
        The only source of chance.

    Returns
    -------
    The simulated shops, as written.
    """
    simulated = simulate_shops(seed)
    shops, truth = directory / "shops", directory / "truth"
    for folder in (shops, truth):
        folder.mkdir(parents=True, exist_ok=True)
    for name, frame in simulated.tables.items():
        if name != "sweeps":
            write_csv(frame, shops / (RETRACT_FILE if name == "retract" else f"{name}.csv"))
    _write_sweeps(simulated, shops)
    for name in TRUTH_FILES:
        write_csv(_rounded(simulated.truth[name]), truth / f"{name}.csv")
    (directory / "README.md").write_text(readme(simulated), encoding="utf-8", newline="\n")
    return simulated


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """One table as UTF-8 CSV with the same line ends everywhere."""
    frame.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def _write_sweeps(simulated: SimulatedShops, folder: Path) -> None:
    """One Parquet file a shop; sweeps of a test stand together, samples in recorded order."""
    samples = simulated.tables["sweeps"]
    ids = simulated.truth["sessions"][["session_id", "shop_id"]]
    shop_of = samples["session_id"].map(ids.set_index("session_id")["shop_id"])
    for shop_id, rows in samples.groupby(shop_of.to_numpy(), sort=True):
        arrays = [pa.array(rows[name], type=kind) for name, kind in SWEEP_TYPES.items()]
        pq.write_table(
            pa.Table.from_arrays(arrays, names=list(SWEEP_TYPES)),
            folder / f"sweeps-{shop_id}.parquet",
            compression="zstd",
            compression_level=19,
            use_dictionary=["session_id"],
            row_group_size=ROW_GROUP_ROWS,
            data_page_size=1 << 27,
            max_rows_per_page=ROW_GROUP_ROWS,
        )


def _rounded(frame: pd.DataFrame) -> pd.DataFrame:
    """Truth to a tenth of a millisecond and a hundredth of a per cent, for size."""
    return frame.round({"start_s": 4, "end_s": 4, "length_s": 4, "travel_pct": 2, "depth_pct": 2})


def readme(simulated: SimulatedShops) -> str:
    """What stands in the extract's README, counted from the frames themselves."""
    tables, truth = simulated.tables, simulated.truth
    repairs, sweeps = tables["repair_outcomes"], truth["sweeps"]
    confirmed = repairs["fault_confirmed"].eq("yes")
    confirmed &= repairs["action"].isin(["sensor_replaced", "sensor_cleaned"])
    counts = (
        ("bikes", len(tables["units"])),
        ("sensors over time", len(tables["sensors"])),
        ("bench tests", len(tables["test_sessions"])),
        ("of these with a recorded sweep", len(sweeps)),
        ("samples", len(tables["sweeps"])),
        ("closed repairs", len(repairs)),
        ("confirmed sensor faults", int(confirmed.sum())),
        ("of these road failures", int((confirmed & repairs["on_road"].eq("yes")).sum())),
        ("drop-outs in the sweeps", len(truth["dropouts"])),
        ("of these visible", int(truth["dropouts"]["visible"].sum())),
    )
    channels = sweeps["channel"].value_counts()
    rows = [*counts, *((f"sweeps on the {name} channel", n) for name, n in channels.items())]
    return _README.format(
        first=FIRST_DAY,
        as_of=AS_OF,
        seed=simulated.seed,
        counts=_table(("what", "how many"), [(what, f"{n:,}") for what, n in rows]),
        called_in=" to ".join(f"{km:,.0f}" for km in CALLED_IN_KM),
        short_from=SHORTAGE.first_day,
        short_part=SHORTAGE.part_no,
        short_shops=" and ".join(SHORTAGE.shop_ids),
        short_until=SHORTAGE.delivery_day,
        open_jobs=len(open_jobs(tables)),
        mistakes=_table(
            tuple(truth["mistakes"].columns), truth["mistakes"].itertuples(index=False)
        ),
    )


def open_jobs(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Last tests of sensors in service that failed at a short shop and led to no repair."""
    last = tables["test_sessions"].drop_duplicates("sensor_id", keep="last")
    here = tables["sensors"].query("removed_on.isna()")["sensor_id"]
    failed = last["verdict"].eq("fail") & last["sensor_id"].isin(here)
    failed &= ~last["session_id"].isin(tables["repair_outcomes"]["session_id"])
    return last[failed & last["shop_id"].isin(SHORTAGE.shop_ids)]


def _table(head: tuple[str, ...], rows: Iterable[tuple]) -> str:
    lines = [head, ("---",) * len(head), *rows]
    return "\n".join("| " + " | ".join(str(cell) for cell in line) + " |" for line in lines)


def main(arguments: list[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description="Write the demo extract.")
    parser.add_argument("directory", nargs="?", type=Path, default=DIRECTORY)
    parser.add_argument("--seed", type=int, default=DEFAULT_SEED)
    options = parser.parse_args(arguments)
    write_seed(options.directory, seed=options.seed)
    print(f"Demo extract written to {options.directory}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
