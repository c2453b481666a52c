"""Skill, speed, memory, coverage and bias of the risk models; one command prints each.

``python -m tests.bench.risk_bench skill`` scores ours and rivals on the same simulated records,
between a mileage-only curve and the informed ceiling; ``speed`` takes seconds and peak memory at
5,000, 50,000 and 500,000 sensors and those of rivals at 5,000; ``coverage --fleets 1000`` counts
how often 90 % intervals hold the truth; ``contact`` does so where silence since the last contact
counts; ``symptoms`` shows the bias left where half the tests follow symptoms, ``removals`` that where
sensors are taken off because they read rough. ``--workers N`` or ``--cluster ADDRESS`` shares fleets
out. Set OMP_NUM_THREADS=1 for times that can be compared.
"""

from __future__ import annotations

import argparse

from pipeline.jobs.workers import add_worker_flags, chosen_workers
from tests.bench.risk_coverage import contact, coverage
from tests.bench.risk_removals import removals
from tests.bench.risk_scores import SEEDS, WORLDS, skills, symptoms
from tests.bench.risk_speed import SIZES, measure, speed, write_records


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=__doc__)
    parts = parser.add_subparsers(dest="what", required=True)
    skilled = parts.add_parser("skill")
    skilled.add_argument("--bikes", type=int, nargs="+", default=list(SEEDS))
    skilled.add_argument("--worlds", nargs="+", choices=list(WORLDS), default=list(WORLDS))
    skilled.add_argument("--seeds", type=int, help="fleets of each; by default more of small ones")
    skilled.add_argument("--no-rivals", action="store_true")
    add_worker_flags(skilled)
    felt = parts.add_parser("symptoms")
    felt.add_argument("--bikes", type=int, default=5_000)
    felt.add_argument("--seeds", type=int, default=10)
    add_worker_flags(felt)
    off = parts.add_parser("removals")
    off.add_argument("--bikes", type=int, default=1_500)
    off.add_argument("--seeds", type=int, default=4)
    sizes = parts.add_parser("speed")
    sizes.add_argument("--sizes", type=int, nargs="+", default=list(SIZES))
    records = parts.add_parser("records", help="used by speed")
    records.add_argument("sensors", type=int)
    records.add_argument("folder")
    one = parts.add_parser("one", help="used by speed")
    one.add_argument("who")
    one.add_argument("folder")
    covered = parts.add_parser("coverage")
    covered.add_argument("--which", choices=["plain", "wearing", "all"], default="all")
    covered.add_argument("--only", default="", help="kinds of fleet whose name holds this text")
    add_worker_flags(covered)
    for part in (covered, parts.add_parser("contact")):
        part.add_argument("--fleets", type=int, default=200)
        part.add_argument("--first-seed", type=int, default=0)
    return parser


def main() -> None:
    """Run what is asked for."""
    chosen = _parser().parse_args()
    if chosen.what == "skill":
        how = {"with_rivals": not chosen.no_rivals, "workers": chosen_workers(chosen)}
        skills(chosen.worlds, chosen.bikes, chosen.seeds, **how)
    elif chosen.what == "symptoms":
        symptoms(chosen.bikes, chosen.seeds, workers=chosen_workers(chosen))
    elif chosen.what == "removals":
        removals(chosen.bikes, chosen.seeds)
    elif chosen.what == "speed":
        speed(tuple(chosen.sizes))
    elif chosen.what == "records":
        write_records(chosen.sensors, chosen.folder)
    elif chosen.what == "one":
        measure(chosen.who, chosen.folder)
    elif chosen.what == "coverage":
        how = {"workers": chosen_workers(chosen), "which": chosen.which, "only": chosen.only}
        coverage(chosen.fleets, chosen.first_seed, **how)
    else:
        contact(chosen.fleets, chosen.first_seed)


if __name__ == "__main__":
    main()
