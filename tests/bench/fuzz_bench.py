"""Files as nobody should hand them in, by the hundred thousand: counts, rate and memory.

``python -m tests.bench.fuzz_bench --tables 100000 --others 100000``; what is amiss is printed with
its seed, and a second run with ``--first`` goes on where the first ended. In one process, so that
memory that is not given back would show.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from pipeline.home import Home
from pipeline.statements import connect
from tests.fuzz import other_inputs
from tests.fuzz.made_files import made_file
from tests.fuzz.reading import amiss

SAID_EVERY = 2_000


def main() -> None:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--tables", type=int, default=100_000, help="files of contract tables")
    parser.add_argument(
        "--others", type=int, default=100_000, help="recordings, settings, names, drafts"
    )
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        home = Home(Path(folder) / "home").prepare()
        others = range(asked.first, asked.first + asked.others)
        _go("other inputs", others, lambda seed: other_inputs.amiss(seed, home))
        connection = connect()
        connection.execute("set threads = 1")
        tables = range(asked.first, asked.first + asked.tables)
        _go("table files", tables, lambda s: amiss(connection, made_file(s), Path(folder)))


def _go(name: str, seeds: range, look: Callable[[int], list[str]]) -> None:
    began, spent = time.monotonic(), time.process_time()
    found: Counter[str] = Counter()
    for count, seed in enumerate(seeds, 1):
        try:
            said = look(seed)
        except Exception as error:
            said = [f"fell over: {type(error).__name__}: {error}"]
        for one in said:
            found["amiss"] += 1
            print(f"{name}: seed {seed}: {one[:400]}", flush=True)
        if count % SAID_EVERY == 0 or count == len(seeds):
            wall, cpu = time.monotonic() - began, time.process_time() - spent
            print(
                f"{name}: {count:,} read, {found['amiss']} amiss, {count / wall:.1f}/s "
                f"({count / cpu:.1f} per s of processor), peak {_peak_mb()} MB",
                flush=True,
            )


def _peak_mb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


if __name__ == "__main__":
    main()
