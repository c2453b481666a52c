"""How long a save from the screen takes until it is on the disk: ``python -m tests.bench.entries_bench``.

Median of 20 saves of one odometer reading, of a bench test, of a test with a sweep of 60,000 samples
and of a closed job, with none and with 200 entries waiting before it, beside a bare write of the same
bytes that is brought to the disk. Wall-clock milliseconds of one run.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from pipeline.home import Home
from pipeline.intake.typed.closing import Fitted, close_job
from pipeline.intake.typed.entries import save_entry
from pipeline.intake.typed.registering import save_odometer

TIMES, WAITING, SAMPLES = 20, 200, 60_000
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
TEST = {
    "session_id": "N1",
    "sensor_id": "S1",
    "tested_at": "2026-05-30T09:00:00+02:00",
    "odometer_km": "29000",
    "supply_v": "4.98",
    "sweep_channel": "volt",
    "verdict": "pass",
}
OLD = {
    "sensor_id": "S1",
    "unit_id": "B1",
    "mount": "throttle",
    "part_no": "P1",
    "origin": "original",
}
JOB = {"closed_on": "2026-05-30", "odometer_km": "29000", "action": "sensor_replaced"}


def _sweep() -> bytes:
    lines = (
        f"N1,{n / 500:.3f},{0.5 + 4 * abs(n % 3000 - 1500) / 1500:.4f}" for n in range(SAMPLES)
    )
    return ("session_id,t_s,signal\n" + "\n".join(lines) + "\n").encode()


def _saves(home: Home) -> dict[str, Callable[[], object]]:
    sweep = _sweep()
    return {
        "odometer": lambda: save_odometer(home, "B1", NOW.date(), 29_000, now=NOW),
        "bench test": lambda: save_entry(home, {"test_sessions": [TEST]}, now=NOW),
        "bench test and sweep": lambda: save_entry(
            home, {"test_sessions": [TEST]}, files={"sweeps-N1.csv": sweep}, now=NOW
        ),
        "job closed, part fitted": lambda: close_job(home, OLD, JOB, Fitted("P1", {}), now=NOW),
        "bare write of the sweep": lambda: _bare(home.root / "bare", sweep),
    }


def _bare(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _median_ms(save: Callable[[], object]) -> tuple[float, float]:
    found = []
    for _ in range(TIMES):
        begin = time.perf_counter()
        save()
        found.append(1000 * (time.perf_counter() - begin))
    return statistics.median(found), max(found)


def main() -> None:
    """Print the medians and the slowest, and each median over that of the bare write."""
    for waiting in (0, WAITING):
        with tempfile.TemporaryDirectory() as folder:
            home = Home(Path(folder) / "home").prepare()
            for _ in range(waiting):
                save_odometer(home, "B1", NOW.date(), 29_000, now=NOW)
            found = {name: _median_ms(save) for name, save in _saves(home).items()}
        bare = found["bare write of the sweep"][0]
        print(f"{waiting} entries waiting before; median of {TIMES}")
        for name, (median, slowest) in found.items():
            print(f"  {name}: {median:.0f} ms, slowest {slowest:.0f} ms, {median / bare:.1f} x")


if __name__ == "__main__":
    main()
