"""Hold the files that samples are kept in against their cards and the published versions."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.home import Home
from pipeline.jobs.keeping.findings import NEXT_BUILD, Finding
from pipeline.jobs.progress import LongWork
from pipeline.kept_sweeps.places import ASIDE, BY_SHOP, amiss, aside, card_path, read_card
from pipeline.kept_sweeps.storage import storage_of
from pipeline.warehouse.sweeps_at_rest import names_by_version

_GOES = "The next build takes it away."


def sweep_findings(home: Home, work: LongWork) -> list[Finding]:
    """What is wrong with files of samples, and which of them no version holds."""
    named = names_by_version(home)
    if not named or home.is_being_built:
        return []  # nothing is published by this code yet, or files are on their way
    newest = named[max(named)]
    names = sorted(set().union(*named.values()))
    return [*_not_whole(home, names, work), *_not_held(home, named, newest)]


def _not_whole(home: Home, names: list[str], work: LongWork) -> Iterator[Finding]:
    for name in work.each("Looking through samples of sweeps", "file", names):
        card = read_card(card_path(home, name))
        why = "has no whole card" if card is None else amiss(home, card, thoroughly=True)
        if why:
            yield Finding(f"sweeps_by_shop/{name}", f"the file of samples {why}", NEXT_BUILD)


def _not_held(home: Home, named: dict[int, set[str]], newest: set[str]) -> Iterator[Finding]:
    storage = storage_of(home)
    for place in storage.files(BY_SHOP):
        if place.removeprefix(f"{BY_SHOP}/") not in newest:
            what = "the newest version does not hold it: whoever reads the folder reads it as well"
            yield Finding(place, what, NEXT_BUILD, _GOES)
    held = {aside(name) for names in named.values() for name in names}
    for place in storage.files(ASIDE):
        if place not in held:
            yield Finding(place, "no version holds it", NEXT_BUILD, _GOES)
    for path in sorted(home.sweeps.glob("*.parquet")):
        what = "its samples are kept by shop and month already"
        yield Finding(f"sweeps/{path.name}", what, NEXT_BUILD, _GOES)
