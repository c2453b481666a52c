"""Where a sensor's track wears, and how to sweep it: the part of a bike's and of a test's page."""

from __future__ import annotations

import pandas as pd

from dashboard.markup import Cell, Html, bullets, joined, tag, to_session
from dashboard.surround import way, ways
from dashboard.wording.wear_words import (
    LIKELY,
    against_fleet,
    band,
    before,
    passes_in_short,
    progress,
    slowest,
    span,
    sweep_was,
)
from dashboard.words import day, number
from pipeline.access.wear_view import BikeWear, TestWear

_NOT_MAPPED = "It has not been swept yet, so nothing is known of its own wear."
_NO_SWEEP = "This test has no sweep that could be laid over the travel, so it tells nothing of it."
_BIN_PCT = 2.0


def track_of_test(wear: TestWear) -> Html:
    """What one test tells of where its track wears, and how to sweep it next."""
    known = _known(wear) if len(wear.profiles) else [_NO_SWEEP]
    plan = "" if wear.plan is None else sweep_was(wear.plan)
    said = [sentence for sentence in (*known, slowest(wear.stretches), plan) if sentence]
    query = {"life": wear.life_id} if wear.life_id and len(wear.profiles) else {}
    to_map = way("Its track over its tests" if query else "Wear map", "wear", **query)
    return joined([bullets(said), ways(to_map)])


def _known(wear: TestWear) -> list[str]:
    """The band as known by this test, by those before it, and against sensors that passed."""
    session_id = wear.profiles["session_id"].iloc[-1]
    first = wear.bands[wear.bands["band_no"].eq(1)]
    own = first[first["session_id"].eq(session_id)].to_dict("records")[0]
    n_tests = wear.profiles["session_id"].nunique()
    further = int(wear.bands["session_id"].eq(session_id).sum()) - 1
    said = [
        band(own | {"n_tests": n_tests, "further_bands": further}),
        before(first.loc[first["session_id"].ne(session_id), "confidence"].tolist()),
    ]
    if own["confidence"] < LIKELY:
        return said
    edge = wear.profiles["bin_from_pct"]
    there = wear.profiles["session_id"].eq(session_id) & (edge < own["to_pct"])
    there &= edge + _BIN_PCT > own["from_pct"]
    return [*said, against_fleet(wear.profiles[there])]


def _fleet_range(row: dict) -> str:
    if pd.isna(row["fleet_high"]):
        return "too few"
    return f"{number(row['fleet_low'])} to {number(row['fleet_high'])}"


#: Columns of the table beside a sensor's chart, from WEAR_PROFILE_ROWS.
TRACK_COLUMNS: dict[str, str | Cell] = {
    "Day": lambda r: day(r["tested_on"]),
    "Test": lambda r: to_session(r["session_id"], r["session_id"]),
    "Travel": lambda r: span(r["bin_from_pct"], r["bin_from_pct"] + _BIN_PCT),
    "Roughness, times its middle cell": lambda r: number(r["roughness"], blank="not judged"),
    "Sensors that passed": _fleet_range,
    "Drop-outs": "dropout_count",
    "Passes that would have shown one": lambda r: number(r["exposure"], digits=1),
}


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
    to_map = way("Its track over its tests" if sensor else "Wear map", "wear", **query)
    return tag(
        "div",
        tag("p", tag("strong", f"Sensor {sensor_id}")),
        bullets(sentence for sentence in said if sentence),
        ways(to_map),
    )
