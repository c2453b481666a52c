"""How far two builds of the demo from nothing differ: hash seeds, threads of both kinds.

``nice -n 19 .venv/bin/python -m tests.bench.repro_bench [FOLDER]``: four builds, one after another,
with the folder kept if named. DuckDB spreads a table over threads only from some 100,000 rows on,
so the last build makes it do so with every table.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.bench.repro_compare import built, differences, not_the_same_bytes

FIRST = {"threads": 1, "hash_seed": 1}
OTHERS = {
    "another hash seed, one thread": {"threads": 1, "hash_seed": 2},
    "two threads of both kinds": {"threads": 2, "hash_seed": 3, "omp": 2},
    "eight threads, forced": {"threads": 8, "hash_seed": 4, "omp": 2, "forced": True},
}


def run(folder: Path) -> None:
    """Build and print."""
    began = time.perf_counter()
    first = built(folder / "first", "demo", **FIRST)
    whole = time.perf_counter() - began
    for number, (name, how) in enumerate(OTHERS.items()):
        began = time.perf_counter()
        other = built(folder / f"other-{number}", "demo", **how)
        taken = (time.perf_counter() - began) / whole
        apart = not_the_same_bytes(first, other)
        print(f"{name}: {len(apart)} tables not the same bytes; {taken:.2f} of the first's time")
        for difference in differences(first, other):
            other_columns = f"; not numbers: {difference.other}" if difference.other else ""
            print(f"  {difference.table}: worst relative {difference.worst:.1e}{other_columns}")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        run(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory(prefix="repro-") as kept:
            run(Path(kept))
