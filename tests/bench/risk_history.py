"""The same records as tables for the rivals: what was known of a life at some age, and what came."""

from __future__ import annotations

import numpy as np
import pandas as pd

from tests.models.risk.wearing_fleet import WearingFleet

GROUPS = ("part_no", "duty", "shop_id")
#: Numbers known at an age; blank where there is no reading or no test yet.
NUMBERS = (
    "age_km",
    "log_km_per_day",
    "tests",
    "km_since_test",
    "km_since_contact",
    "log_rough",
    "log_rough_mean",
    "log_rough_max",
    "log_rough_growth",
    "km_since_reading",
    "checks_share",
    "found_on_bike",
    "bike_km",
    "private",
    "age_known",
)
#: Share of the window of a defect heard of that lay after it, and of one found otherwise.
_HEARD_PLACE, _MIDDLE = 0.2, 0.5


def lives_of(fleet: WearingFleet) -> pd.DataFrame:
    """Windows with what every rival needs, one row a life.

    ``defect_km`` : defect placed inside its window. ``extra_km`` : the mean age at first sight of
    known sensors, added to the ages of those unknown. ``end_km`` : age at finding, or to which the
    life is in view. ``last_bike_km`` : the bike's km to which a finding would be in the records.
    """
    windows, bikes = fleet.windows, fleet.bikes.iloc[fleet.windows["bike"]].reset_index(drop=True)
    in_use = windows["age_known"] & (windows["entry_km"] > 0)
    place = np.where(windows["heard"], _HEARD_PLACE, _MIDDLE)
    last = np.where(bikes["private"], bikes["last_contact_bike_km"], bikes["bike_km"])
    extra = np.where(windows["age_known"], 0.0, windows.loc[in_use, "entry_km"].mean())
    return windows.assign(
        life=np.arange(len(windows)),
        defect_km=windows["bad_km"] - place * (windows["bad_km"] - windows["good_km"]),
        extra_km=np.nan_to_num(extra),
        end_km=windows["bad_km"].fillna(windows["contact_km"]),
        last_bike_km=last,
        private=bikes["private"],
    )


def known_at(
    fleet: WearingFleet, lives: pd.DataFrame, life: np.ndarray, age_km: np.ndarray
) -> pd.DataFrame:
    """What the records held of these lives when they had these ages (rows as asked for)."""
    rows = lives.iloc[life].reset_index(drop=True)
    bike_km = (
        age_km + rows["fitted_bike_km"].to_numpy() + 0.5
    )  # km; at a contact counts as after it
    asked = pd.DataFrame({"life": life, "at": age_km, "bike": rows["bike"], "on_bike": bike_km})
    asked["order"] = np.arange(len(asked))
    tests = _so_far(fleet.wear_readings)
    seen = _last_before(asked, tests.rename(columns={"read_km": "at"}), on="at", by="life")
    found = _findings(lives)
    found = _last_before(asked, found, on="on_bike", by="bike")["count"].fillna(0.0)
    contacts = fleet.contacts.assign(on_bike=fleet.contacts["bike_km"])
    contact = _last_before(asked, contacts[["bike", "on_bike", "bike_km"]], on="on_bike", by="bike")
    fleet_bike = ~rows["private"].to_numpy(bool)
    entry = rows["entry_km"].to_numpy()
    return pd.DataFrame(
        {
            **{name: rows[name] for name in GROUPS},
            "age_km": age_km + rows["extra_km"].to_numpy(),
            "log_km_per_day": np.log(rows["km_per_day"]),
            "tests": seen["tests"].fillna(0.0),
            "km_since_test": age_km - seen["test_km"].fillna(pd.Series(entry)),
            "km_since_contact": np.where(fleet_bike, 0.0, bike_km - contact["bike_km"]),
            **{name: seen[name] for name in ("log_rough", "log_rough_mean", "log_rough_max")},
            "log_rough_growth": seen["log_rough_growth"],
            "km_since_reading": age_km - seen["reading_km"],
            "checks_share": seen["checks_share"],
            "found_on_bike": found,
            "bike_km": bike_km,
            "private": rows["private"].astype(float),
            "age_known": rows["age_known"].astype(float),
        }
    )


def _last_before(asked: pd.DataFrame, told: pd.DataFrame, *, on: str, by: str) -> pd.DataFrame:
    """The last row told at or before each row asked, in the order of ``asked``."""
    left = asked[["order", by, on]].sort_values(on)
    joined = pd.merge_asof(left, told.sort_values(on), on=on, by=by)
    return joined.sort_values("order", ignore_index=True)


def _so_far(readings: pd.DataFrame) -> pd.DataFrame:
    """Each passed test with sums over the tests of its life up to it."""
    tests = readings[readings["passed"]].sort_values(["life", "read_km"], ignore_index=True)
    rough = np.log(tests["roughness_pct"].astype(float))
    life = tests["life"]
    by_life = rough.groupby(life)
    read = tests["read_km"].where(rough.notna())
    last_km, last = read.groupby(life).ffill(), by_life.ffill()
    known = pd.DataFrame({"life": life, "rough": rough, "km": read}).dropna()
    step = known.groupby("life").diff()
    growth = (step["rough"] / step["km"] * 1e4).reindex(tests.index)
    total = rough.fillna(0.0).groupby(life).cumsum()
    count = rough.notna().groupby(life).cumsum()
    number = tests.groupby("life").cumcount() + 1
    return pd.DataFrame(
        {
            "life": life,
            "read_km": tests["read_km"],
            "test_km": tests["read_km"],
            "tests": number.astype(float),
            "log_rough": last,
            "log_rough_mean": total / count.where(count > 0),
            "log_rough_max": by_life.cummax().groupby(life).ffill(),
            "log_rough_growth": growth.groupby(life).ffill(),
            "reading_km": last_km,
            "checks_share": tests["checks_out_of_band"].astype(float).groupby(life).cumsum()
            / number,
        }
    )


def _findings(lives: pd.DataFrame) -> pd.DataFrame:
    """Findings of each bike so far, by the bike's km."""
    found = lives[lives["bad_km"].notna()]
    table = pd.DataFrame(
        {"bike": found["bike"], "on_bike": found["bad_km"] + found["fitted_bike_km"]}
    ).sort_values(["bike", "on_bike"])
    return table.assign(count=table.groupby("bike").cumcount() + 1.0)
