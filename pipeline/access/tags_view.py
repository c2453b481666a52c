"""Bikes whose tags are to be printed, and what stands on a tag."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

import pandas as pd

from models.frames import Column, FrameSchema
from pipeline.access.entered.pending import pending_rows
from pipeline.access.reading import Edition, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.settings.settings_file import read_settings

#: The page that a tag opens.
PAGE = "bench"
TAG_BIKES = FrameSchema(
    "tag_bikes",
    "one bike in service",
    (
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number; the id where there is none"),
        Column("model_code", "text", "model"),
        Column("shop_id", "text", "its shop"),
        Column("fleet_id", "text", "its fleet", blank=True),
    ),
)


@dataclass(frozen=True)
class TagsView:
    """``bikes`` TAG_BIKES in service, those just typed too; ``base_address`` of the tags."""

    edition: Edition
    bikes: pd.DataFrame
    base_address: str


@view
def tags_view(home: Home, asker: Asker) -> TagsView:
    """Everything the page of tags shows.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (manifest, connection):
        found = read_frame(connection, "tag_bikes", TAG_BIKES)
        typed = pending_rows(home, asker, "units")["units"]
        late = [_bike(cells) for cells in typed.values() if not cells.get("out_of_service_on")]
        kept = found[~found["unit_id"].isin(typed)]
        bikes = pd.concat([pd.DataFrame(late, columns=TAG_BIKES.names), kept], ignore_index=True)
        return TagsView(
            edition_of(home, manifest),
            TAG_BIKES.check(bikes) if len(bikes) else TAG_BIKES.empty(),
            read_settings(home).shown.base_address,
        )


def tag_content(unit_id: str, base_address: str) -> str:
    """What a tag's code says: the address of the bike at the bench, or the bare id without one."""
    if not base_address:
        return unit_id
    return f"{base_address.rstrip('/')}/{PAGE}?unit={quote(unit_id, safe='')}"


def _bike(cells: dict[str, str]) -> dict[str, str | None]:
    label = cells.get("label") or cells["unit_id"]
    return {name: cells.get(name) for name in TAG_BIKES.names} | {"label": label}
