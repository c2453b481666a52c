"""Where the tracks of a bike's sensors wear, and how to sweep them: the bike page's part."""

from __future__ import annotations

import pandas as pd

from dashboard.markup import Html, bullets, joined, link, tag
from dashboard.wear_words import band, passes_in_short, progress, slowest
from pipeline.access.wear_view import BikeWear

_NOT_MAPPED = "It has not been swept yet, so nothing is known of its own wear."


def tracks(wear: BikeWear) -> Html:
    """A paragraph a sensor in service: its worn band, where to sweep slowest, how many passes."""
    mapped = {row["sensor_id"]: row for row in wear.sensors.to_dict("records")}
    each = [
        _track(str(sensor_id), mapped.get(sensor_id), rows, wear.passes)
        for sensor_id, rows in wear.stretches.groupby("sensor_id", sort=False)
    ]
    return joined(each)


def _track(
    sensor_id: str, sensor: dict | None, stretches: pd.DataFrame, passes: pd.DataFrame
) -> Html:
    own = passes[passes["rate_hz"].isin(stretches["rate_hz"])]
    known = [_NOT_MAPPED] if sensor is None else [band(sensor), *progress(sensor)]
    said = [*known, slowest(stretches), passes_in_short(own)]
    life = sensor_id if sensor is None else sensor["life_id"]
    query = {} if sensor is None else {"life": life}
    to_map = link(
        "Its track over its tests" if sensor else "Wear map", "wear", "wa-pressed", **query
    )
    return tag(
        "div",
        tag("p", tag("strong", f"Sensor {sensor_id}")),
        bullets(sentence for sentence in said if sentence),
        tag("p", to_map),
    )
