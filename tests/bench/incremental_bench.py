"""What a day's files cost against a whole build of the same records, in processor time.

``nice -n 19 .venv/bin/python -m tests.bench.incremental_bench [--home FOLDER] [--tests 2000 10000]``:
for each number of tests the invented shops of ``large_home`` are built from nothing, then a day's
files are handed in (a 2,000th part of the tests, each with its sweep, and as many odometer readings,
the as-of day one day on) and built. ``--home`` takes a home that is built already, copied first: it is built once
more as it stands, fitted models kept, so that all that is remembered is there; its whole build is
then one without anything kept, unless ``--full-seconds`` says what that took.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pandas as pd

from pipeline.home import Home
from pipeline.jobs.demo import AS_OF
from pipeline.jobs.ingest import ingest, rebuild
from pipeline.statements import connect
from pipeline.warehouse.build import build
from pipeline.warehouse.publish import newest
from tests.bench.large_home import write_files
from tests.bench.scale_home import write_scale_sweeps

#: Days of the history, about: of the tests on record this part is made in one.
DAYS = 2_000


def increment(home: Home, samples: int = 12_000) -> tuple[float, pd.DataFrame]:
    """Processor seconds of one day's files, and the fit that the sensors were scored with."""
    day = (home.as_of or AS_OF) + timedelta(days=1)
    card = home.root / "home.json"
    card.write_text(card.read_text().replace(f"{home.as_of}", f"{day}"))
    with tempfile.TemporaryDirectory(prefix="a-day-") as folder:
        write_day(home, day, Path(folder), samples)
        seconds = _seconds(lambda say: ingest(Home(home.root), [Path(folder)], say=say))
    return seconds, _rows(home, "from marts.risk_fit")


def write_day(home: Home, day: date, folder: Path, samples: int) -> None:
    """Tests and odometer readings of one day, of sensors and bikes in service.

    Each test has a sweep of ``samples`` samples; none has one where that is 0.
    """
    tests = _rows(
        home,
        "select * from staging.test_sessions join marts.sensors_now using (sensor_id) "
        "join marts.bikes using (unit_id) where odometer_now_km is not null "
        "qualify row_number() over (partition by sensor_id order by tested_at desc) = 1 "
        "order by hash(sensor_id)",
    )
    (count,) = _rows(home, "select count(*) as n from staging.test_sessions")["n"]
    tests = tests.head(max(1, round(count / DAYS)))
    bikes = tests["unit_id"].tolist()
    written = pd.DataFrame(
        {
            "session_id": [f"{day:%Y%m%d}-{k}" for k in range(len(tests))],
            "sensor_id": tests["sensor_id"],
            "shop_id": tests["shop_id"],
            "tested_at": f"{day}T10:00:00+00:00",
            "odometer_km": (tests["odometer_now_km"] + 500).round().astype(int),
            "reason": "routine",
            "supply_v": 5.0,
            "closed_v": 0.5,
            "open_v": 4.5,
            "verdict": "pass",
        }
    )
    if samples:
        written["sweep_channel"] = "volt"
        write_scale_sweeps(folder, written, samples, first_no=count)
    written.to_csv(folder / "test_sessions.csv", index=False)
    read = _rows(home, "from marts.bikes where odometer_now_km is not null order by hash(unit_id)")
    read = read[~read["unit_id"].isin(bikes)].head(len(tests))
    readings = pd.DataFrame(
        {
            "unit_id": read["unit_id"],
            "read_on": day,
            "odometer_km": (read["odometer_now_km"] + 500).round().astype(int),
        }
    )
    readings.to_csv(folder / "odometer.csv", index=False)


def whole(home: Home) -> float:
    """Processor seconds of a build with nothing kept but the files handed in."""
    for folder in (home.rows, home.sweep_cards, home.measured, home.kept_models):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
    return _seconds(lambda say: build(home, say=say, carry=False))


def _seconds(build: Callable[[Callable[[str], None]], object]) -> float:
    begun = last = time.process_time()

    def say(text: str) -> None:
        nonlocal last
        now = time.process_time()
        print(f"  {now - last:8.1f} s, then: {text}", flush=True)
        last = now

    build(say)
    say("published")
    return time.process_time() - begun


def _rows(home: Home, statement: str) -> pd.DataFrame:
    found = newest(home)
    assert found is not None, "the home is not built"
    connection = connect(found.path, read_only=True)
    try:
        return connection.execute(statement).df()
    finally:
        connection.close()


def _told(name: str, full: float, home: Home, samples: int) -> None:
    seconds, fit = increment(home, samples)
    stood = "the fit stood" if pd.isna(fit["why_fitted"].iloc[0]) else fit["why_fitted"].iloc[0]
    print(
        f"{name}: a day's files {seconds:,.1f} s of processor time, all from nothing {full:,.1f} s: "
        f"{100 * seconds / full:.1f} % ({stood})",
        flush=True,
    )


def main(arguments: list[str] | None = None) -> int:
    """Build, hand a day in, print the ratio."""
    parser = argparse.ArgumentParser(prog="incremental_bench", description=__doc__.splitlines()[0])
    parser.add_argument("--home", type=Path)
    parser.add_argument("--full-seconds", type=float)
    parser.add_argument("--tests", type=int, nargs="*", default=[2_000, 10_000])
    parser.add_argument("--samples", type=int, default=12_000, help="of each sweep of the day")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="incremental-") as kept:
        if asked.home:
            home = Home(shutil.copytree(asked.home, Path(kept) / "home"))
            full = asked.full_seconds or whole(home)
            if asked.full_seconds:
                rebuild(home)
            _told(str(asked.home), full, home, asked.samples)
            return 0
        for n_tests in asked.tests:
            files = Path(kept) / f"{n_tests}-files"
            write_files(files, n_tests, 12)
            home = Home(Path(kept) / f"{n_tests}").prepare("demo", as_of=AS_OF)
            tables = [p for p in sorted(files.iterdir()) if p.suffix in (".csv", ".parquet")]
            full = _seconds(lambda say, h=home, t=tables: ingest(h, t, say=say))
            _told(f"{n_tests:,} tests", full, home, asked.samples)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
