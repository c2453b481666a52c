"""Build the demo shops from `seed_data/`, in a home of their own."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

from pipeline.environment import CHECKOUT
from pipeline.home import DEMO, Home, demo_home
from pipeline.intake.receive import last_hand_in, receive
from pipeline.jobs.hand_back import write_set_aside
from pipeline.jobs.workers import ONE, Workers
from pipeline.warehouse.build import build
from pipeline.warehouse.publish import Manifest, newest

SEED = Path(CHECKOUT) / "seed_data" / "shops"
AS_OF = date(2026, 10, 31)


def ensure_demo(
    home: Home | None = None,
    *,
    progress: bool = False,
    say: Callable[[str], None] = lambda text: None,
    workers: Workers = ONE,
) -> Manifest:
    """Return the published demo, built first where there is none of the present shape.

    What somebody entered into the demo on screen is part of it.

    Raises
    ------
    HomeError
        The home holds a shop's own records, or another builder is at work in it.
    """
    home = (home or demo_home()).prepare(DEMO, as_of=AS_OF)
    with home.one_builder():
        found = newest(home)
        last = last_hand_in(home)
        if found is not None and found.is_current and found.hand_in == last:
            return found
        if not last:
            receive(home, [SEED])
        manifest = build(home, progress=progress, say=say, workers=workers)
        write_set_aside(home, manifest)
        return manifest
