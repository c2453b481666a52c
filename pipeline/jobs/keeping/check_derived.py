"""Hold what was made of the files handed in against its seals."""

from __future__ import annotations

import json
from collections.abc import Iterator

from pipeline.home import Home
from pipeline.intake.read_rows import seal_path
from pipeline.intake.receive import HandedFile, handed_files
from pipeline.intake.seals import broken, digest_of, size_of
from pipeline.intake.settle import read_amiss
from pipeline.jobs.keeping.check_sweeps import sweep_findings
from pipeline.jobs.keeping.findings import COPY, NEXT_BUILD, REMARK, Finding
from pipeline.jobs.measure import batches, seal_of_batch
from pipeline.jobs.progress import LongWork
from pipeline.warehouse.advised import damaged_advice
from pipeline.warehouse.given_out import damaged_events
from pipeline.warehouse.kept_fit import damaged_frames
from pipeline.warehouse.leftovers import leftovers
from pipeline.warehouse.publish import newest, published

#: How a file comes to differ from what its card says, which is written after it.
_NOT_AS_WRITTEN = "a build was stopped between the two, or one of them is damaged"


def derived_findings(home: Home, work: LongWork) -> list[Finding]:
    """What is wrong with rows, samples, measures and models kept, and what was left half."""
    files = handed_files(home)
    found = newest(home)
    held = [file for file in files if found and file.hand_in <= found.hand_in]
    return [
        *_rows_and_samples(home, held, work),
        *_strays(home, files),
        *sweep_findings(home, work),
        *_measured(home, work),
        *_kept_models(home),
        *_left_over(home),
    ]


def kept_findings(home: Home) -> list[Finding]:
    """What was advised and given out, and cannot be read any more."""
    there = {manifest.version for manifest in published(home)}
    found = []
    for path in damaged_advice(home):
        again = NEXT_BUILD if int(path.stem) in there else COPY
        what = "what was advised then cannot be read"
        found.append(Finding(f"advised/{path.name}", what, again))
    for path in damaged_events(home):
        again = NEXT_BUILD if int(path.stem) in there else COPY
        what = "the visits that calendars gave out cannot be read"
        found.append(Finding(f"given_out/{path.name}", what, again))
    return found


def _rows_and_samples(home: Home, files: list[HandedFile], work: LongWork) -> Iterator[Finding]:
    stage = "Looking through what was read of it"
    for file in work.each_by_size(stage, files, lambda file: size_of(file.path)):
        if file.sha256 and digest_of(file.path) != file.sha256:
            continue  # told of among the files handed in
        sealed = seal_path(home.rows, file)
        amiss = read_amiss(home, file)
        if amiss:
            what = f"what was read of {file.name} {amiss}"
            yield Finding(f"rows/{sealed.name}", what, NEXT_BUILD, "The next build reads it again.")


def _strays(home: Home, files: list[HandedFile]) -> Iterator[Finding]:
    known = {file.stem for file in files}
    for path in sorted(home.rows.glob("*.parquet")) if home.rows.exists() else ():
        if path.name.split(".")[0] not in known:
            yield Finding(
                f"rows/{path.name}",
                "it belongs to no file handed in here, and is not read",
                REMARK,
                "`python3 -m pipeline rebuild --from-nothing` takes it away.",
            )


def _measured(home: Home, work: LongWork) -> Iterator[Finding]:
    for stem in work.each("Looking through what was measured", "batch", batches(home)):
        card = seal_of_batch(home, stem)
        amiss = broken(card)
        if amiss:
            what = f"what was measured of some sweeps {amiss}"
            yield Finding(
                f"measured/{card.name}", what, NEXT_BUILD, "The next build measures them again."
            )


def _kept_models(home: Home) -> Iterator[Finding]:
    for path in sorted(home.kept_models.glob("*.skops")) if home.kept_models.exists() else ():
        try:
            wanted = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["sha256"]
        except (OSError, ValueError, KeyError, TypeError):
            wanted = None
        if digest_of(path) != wanted:
            yield Finding(
                f"kept_models/{path.name}",
                f"it is not the model that its card speaks of: {_NOT_AS_WRITTEN}",
                NEXT_BUILD,
                "The next build fits it anew.",
            )
    for name in damaged_frames(home.kept_models) if home.kept_models.exists() else ():
        yield Finding(
            f"kept_models/{name}",
            f"a frame kept with the models is not the one that it speaks of: {_NOT_AS_WRITTEN}",
            NEXT_BUILD,
            "The next build works it out anew.",
        )


def _left_over(home: Home) -> Iterator[Finding]:
    if home.is_being_built:
        return  # a builder's drafts are in work
    for path in leftovers(home):
        where = path.relative_to(home.root).as_posix()
        what = "a half file that a process left behind"
        yield Finding(where, what, NEXT_BUILD, "Nobody reads it; the next build takes it away.")
