"""Hold the files that samples are kept in against their cards and the published versions."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pipeline.home import Home
from pipeline.jobs.keeping.findings import NEXT_BUILD, Finding
from pipeline.kept_sweeps.places import amiss, card_path, read_card
from pipeline.warehouse.sweeps_at_rest import files_by_shop, names_by_version

_GOES = "The next build takes it away."


def sweep_findings(home: Home) -> list[Finding]:
    """What is wrong with files of samples, and which of them no version holds."""
    named = names_by_version(home)
    if not named or home.is_being_built:
        return []  # nothing is published by this code yet, or files are on their way
    newest = named[max(named)]
    return [*_not_whole(home, set().union(*named.values())), *_not_held(home, named, newest)]


def _not_whole(home: Home, names: set[str]) -> Iterator[Finding]:
    for name in sorted(names):
        card = read_card(card_path(home, name))
        why = "has no whole card" if card is None else amiss(home, card)
        if why:
            yield Finding(f"sweeps_by_shop/{name}", f"the file of samples {why}", NEXT_BUILD)


def _not_held(home: Home, named: dict[int, set[str]], newest: set[str]) -> Iterator[Finding]:
    for name, _ in files_by_shop(home):
        if name not in newest:
            what = "the newest version does not hold it: whoever reads the folder reads it as well"
            yield Finding(f"sweeps_by_shop/{name}", what, NEXT_BUILD, _GOES)
    held = {Path(name).name for names in named.values() for name in names}
    for path in sorted(home.sweeps_aside.glob("*.parquet")):
        if path.name not in held:
            what = "no version holds it"
            yield Finding(f"sweeps_aside/{path.name}", what, NEXT_BUILD, _GOES)
    for path in sorted(home.sweeps.glob("*.parquet")):
        what = "its samples are kept by shop and month already"
        yield Finding(f"sweeps/{path.name}", what, NEXT_BUILD, _GOES)
