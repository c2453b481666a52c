"""What a shop writes down of a simulated fleet, errors among it, in the frames of the risk models."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from tests.models.risk.wearing_world import FLOOR_PCT, TODAY, Wear, World

_APART = 1e9  # km between bikes on one line, so that one running maximum serves all


@dataclass
class Log:
    """True contacts, tests and lives, gathered turn by turn as lists of arrays."""

    contacts: list[np.ndarray] = field(default_factory=list)
    tests: list[dict[str, np.ndarray]] = field(default_factory=list)
    lives: list[dict[str, np.ndarray]] = field(default_factory=list)
    count: int = 0
    lost: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool))

    def contact(self, bike: np.ndarray, km: np.ndarray) -> np.ndarray:
        """Number the contacts of these bikes."""
        number = self.count + np.arange(len(bike))
        self.contacts.append(np.column_stack([bike, km]))
        self.count += len(bike)
        self._km = km
        self._first = self.count - len(bike)
        return number

    def km(self, contact: np.ndarray) -> np.ndarray:
        """True km of contacts of the turn at hand."""
        return self._km[contact - self._first]

    def test(
        self,
        bike: np.ndarray,
        slot: int,
        sensors: Any,
        contact: np.ndarray,
        found: np.ndarray,
        prompted: np.ndarray,
        heard: np.ndarray,
        **levels: np.ndarray,
    ) -> None:
        """One test each; ``heard``: a defect of its own was heard of."""
        self.tests.append(
            {
                "bike": bike,
                "slot": np.full(len(bike), slot),
                "number": sensors.number[bike, slot],
                "contact": contact,
                "found": found,
                "prompted": prompted,
                "heard": heard,
                **levels,
            }
        )

    def life(
        self, bike: np.ndarray, slot: int, sensors: Any, found: np.ndarray | None = None
    ) -> None:
        """Lives that end by a finding, or go on (``found`` None)."""
        self.lives.append(
            {
                "bike": bike,
                "slot": np.full(len(bike), slot),
                "number": sensors.number[bike, slot],
                "born": sensors.born[bike, slot],
                "found": np.full(len(bike), -1) if found is None else found,
                "fitted": sensors.fitted[bike, slot],
                "true_defect_km": sensors.defect[bike, slot],
                "true_factor": sensors.factor[bike, slot],
            }
        )

    def close(self, fleet: Any, sensors: Any, lost: np.ndarray) -> None:
        """Lives that go on at the end."""
        self.lost = lost
        for slot in (0, 1):
            self.life(np.flatnonzero(fleet.slots > slot), slot, sensors)


@dataclass(frozen=True)
class Recorded:
    """Contacts in order of bike and km, as true and as written; ``place`` finds a contact by number."""

    bike: np.ndarray
    true_km: np.ndarray
    km: np.ndarray
    place: np.ndarray

    def of(self, contact: np.ndarray) -> np.ndarray:
        """Written km of contacts by number."""
        return self.km[self.place[contact]]

    def last(self, bikes: int) -> np.ndarray:
        """Written km of each bike's last contact."""
        last = np.zeros(bikes)
        last[self.bike] = self.km
        return last


def recorded(rng: np.random.Generator, log: Log, end_km: np.ndarray, world: World) -> Recorded:
    """Odometers as written: a wrong one lies anywhere between its neighbours, so no rule finds it."""
    rows = np.concatenate(log.contacts)
    order = np.lexsort((rows[:, 1], rows[:, 0]))
    bike, true = rows[order, 0].astype(int), rows[order, 1]
    first = np.append(True, bike[1:] != bike[:-1])
    after = np.append(true[1:], 0.0)
    after = np.where(np.append(first[1:], True), end_km[bike], after)
    before = np.where(first, 0.0, np.append(0.0, true[:-1]))
    written = true.copy()
    wrong = ~first & (rng.random(len(true)) < world.wrong_odometer)
    written[wrong] = rng.uniform(before, after)[wrong]
    rounded = ~first & (rng.random(len(true)) < world.rounded_odometer)
    written[rounded] = np.round(written[rounded], -2)
    line, step = written + bike * _APART, np.arange(len(true))
    written = np.maximum.accumulate(line - step) + step - bike * _APART  # in order, 1 km apart
    place = np.empty(len(order), dtype=int)
    place[order] = np.arange(len(order))
    return Recorded(bike, true, written, place)


def frames(
    rng: np.random.Generator,
    log: Log,
    record: Recorded,
    fleet: Any,
    first: np.ndarray,
    wear: Wear,
    world: World,
) -> tuple[pd.DataFrame, ...]:
    """windows, sensors_now, wear_readings, contact_gaps, bikes, contacts; see ``WearingFleet``."""
    bikes = _bikes(rng, log, record, fleet)
    lives = _lives(log, record, fleet, first)
    tests = _tests(rng, log, record, lives, wear, world)
    lives = _with_tests(lives, tests)
    windows = _windows(lives, bikes)
    now = _sensors_now(windows, bikes)
    if world.season is not None:
        days = _dates(log, record, lives, fleet)
        windows = windows.assign(**days, end_km=windows["bad_km"].fillna(windows["contact_km"]))
        now = _dated_now(now, windows)
    contacts = pd.DataFrame({"bike": record.bike, "bike_km": record.km})
    return windows, now, tests, _gaps(record, bikes), bikes, contacts


def _bikes(rng: np.random.Generator, log: Log, record: Recorded, fleet: Any) -> pd.DataFrame:
    """One row a bike. A fleet's odometers are read to this day; others are carried forward."""
    n = len(fleet.slots)
    last = record.last(n)
    ahead = (fleet.end_km - last) * np.exp(0.08 * rng.standard_normal(n))
    now = np.maximum(np.where(fleet.private, last + np.maximum(ahead, 0.0), fleet.end_km), last)
    return pd.DataFrame(
        {
            "unit_id": [f"U{i}" for i in range(n)],
            "duty": [f"D{d}" for d in fleet.duty],
            "shop_id": [f"shop {s}" for s in fleet.shop],
            "private": fleet.private,
            "retired": fleet.retired,
            "sensors": fleet.slots,
            "km_per_day": fleet.km_per_day * np.exp(0.1 * rng.standard_normal(n)),
            "last_contact_bike_km": last,
            "bike_km": now,
            "true_bike_km": fleet.end_km,
            "true_frailty": fleet.frailty,
            "true_lost": log.lost,
        }
    )


def _joined(parts: list[dict[str, np.ndarray]]) -> pd.DataFrame:
    return pd.DataFrame({key: np.concatenate([part[key] for part in parts]) for key in parts[0]})


def _lives(log: Log, record: Recorded, fleet: Any, first: np.ndarray) -> pd.DataFrame:
    """One row a life. ``zero`` is the written km of the bike at age 0, or at first sight where the
    age is unknown; ``true_hidden_km`` the age at first sight that is then left out."""
    lives = _joined(log.lives).sort_values(["bike", "slot", "number"], ignore_index=True)
    bike, slot = lives["bike"].to_numpy(), lives["slot"].to_numpy()
    begun = lives["number"].to_numpy() == 0
    age = np.where(begun, -first[bike, slot], 0.0)
    unknown = begun & fleet.in_use[bike] & fleet.unknown[bike]
    found = lives["found"].to_numpy()
    lives["entry_bike_km"] = np.where(begun, 0.0, record.of(lives["born"].to_numpy()))
    lives["found_bike_km"] = np.where(found >= 0, record.of(np.maximum(found, 0)), np.nan)
    lives["age_known"] = ~unknown
    lives["true_hidden_km"] = np.where(unknown, age, 0.0)
    lives["zero"] = lives["entry_bike_km"] - np.where(unknown, 0.0, age)
    lives["part_no"] = [f"P{p}" for p in fleet.part[bike, slot]]
    names = zip(lives["bike"], lives["slot"], lives["number"], strict=True)
    lives["life_id"] = [f"S{b}-{s}-{k}" for b, s, k in names]
    lives["life"] = np.arange(len(lives))
    return lives


def _tests(
    rng: np.random.Generator,
    log: Log,
    record: Recorded,
    lives: pd.DataFrame,
    wear: Wear,
    world: World,
) -> pd.DataFrame:
    """Wear readings; noise is multiplicative, and a share of tests has no sweep that can tell."""
    tests = _joined(log.tests).merge(
        lives[["bike", "slot", "number", "life", "life_id", "zero"]], on=["bike", "slot", "number"]
    )
    tests["bike_km"] = record.of(tests["contact"].to_numpy())
    tests = tests.sort_values(["life", "bike_km"], ignore_index=True)
    n = len(tests)
    rough = tests["rough"] * np.exp(wear.noise_sd * rng.standard_normal(n))
    rough = rough.where(rng.random(n) >= world.blank_sweep)
    return pd.DataFrame(
        {
            "life_id": tests["life_id"],
            "read_km": tests["bike_km"] - tests["zero"],
            "roughness_pct": rough,
            "roughness_z": (rough / FLOOR_PCT - 1.0) / 0.4,
            "checks_out_of_band": (rng.random(n) < tests["checks"]).astype(int),
            "passed": ~tests["found"],
            "prompted": tests["prompted"],
            "heard": tests["heard"],
            "life": tests["life"],
            "bike_km": tests["bike_km"],
        }
    )


def _with_tests(lives: pd.DataFrame, tests: pd.DataFrame) -> pd.DataFrame:
    """Ages at the last good test and the finding, and how it came about."""
    passed = tests[tests["passed"]].groupby("life")["read_km"].max()
    found = tests[~tests["passed"]].set_index("life")
    idle = tests[tests["passed"] & tests["prompted"]].groupby("life").size()
    entry = lives["entry_bike_km"] - lives["zero"]
    tested = lives["life"].map(passed)
    return lives.assign(
        entry_km=entry,
        tested_km=tested,
        good_km=tested.fillna(entry),
        bad_km=lives["found_bike_km"] - lives["zero"],
        heard=lives["life"].map(found["prompted"]).fillna(False).astype(bool),
        own_complaint=lives["life"].map(found["heard"]).fillna(False).astype(bool),
        idle_complaints=lives["life"].map(idle).fillna(0).astype("Int64"),
        last_test_km=lives["life"].map(tests.groupby("life")["read_km"].max()),
    )


def _windows(lives: pd.DataFrame, bikes: pd.DataFrame) -> pd.DataFrame:
    bike = bikes.iloc[lives["bike"]].reset_index(drop=True)
    last = np.where(bike["private"], bike["last_contact_bike_km"], bike["bike_km"])
    even = lives["life"] % 2 == 0  # of the defects heard of, every other let the rider down
    return pd.DataFrame(
        {
            "life_id": lives["life_id"],
            "sensor_id": lives["life_id"],
            "unit_id": bike["unit_id"],
            "part_no": lives["part_no"],
            "duty": bike["duty"],
            "repaired": False,
            "age_known": lives["age_known"],
            "entry_km": lives["entry_km"],
            "good_km": lives["good_km"],
            "bad_km": lives["bad_km"],
            "road_failure": lives["own_complaint"] & even,
            "heard": lives["heard"],
            "idle_complaints": lives["idle_complaints"],
            "contact_km": np.where(lives["bad_km"].isna(), last - lives["zero"], np.nan),
            "doubt_km": np.nan,
            "doubt_sign": None,
            "doubt_heard": None,
            "km_per_day": bike["km_per_day"],
            "shop_id": bike["shop_id"],
            "earlier_repairs": 0,
            "tested_km": lives["tested_km"],
            "last_test_km": lives["last_test_km"],
            "fitted_bike_km": lives["zero"],
            "bike": lives["bike"],
            "true_defect_km": lives["true_defect_km"],
            "true_hidden_km": lives["true_hidden_km"],
            "true_age_now_km": bike["true_bike_km"] - lives["fitted"],
        }
    )


def _sensors_now(windows: pd.DataFrame, bikes: pd.DataFrame) -> pd.DataFrame:
    bike = bikes.iloc[windows["bike"]].reset_index(drop=True)
    dropped = ["bad_km", "road_failure", "heard", "doubt_km", "doubt_sign", "doubt_heard"]
    now = windows.drop(columns=dropped).assign(
        age_now_km=bike["bike_km"] - windows["fitted_bike_km"],
        good_km=windows["tested_km"],
        last_verdict=np.where(windows["last_test_km"].notna(), "pass", None),
        last_conclusion=None,
        truly_defective=windows["true_defect_km"] <= windows["true_age_now_km"],
        truly_within_5000=windows["true_defect_km"] <= windows["true_age_now_km"] + 5_000.0,
    )
    return now[windows["bad_km"].isna() & ~bike["retired"]].reset_index(drop=True)


def _dates(log: Log, record: Recorded, lives: pd.DataFrame, fleet: Any) -> dict[str, pd.Series]:
    """Days of each life's first sight, last good test and end, by the km truly run until then."""
    bike, first = lives["bike"].to_numpy(), lives["number"].to_numpy() == 0
    true = record.true_km[record.place]
    entered = np.where(first, 0.0, true[lives["born"].to_numpy()])
    tests = _joined(log.tests).merge(lives[["bike", "slot", "number", "life"]])
    passed = tests[~tests["found"]].assign(km=lambda rows: true[rows["contact"]])
    good = lives["life"].map(passed.groupby("life")["km"].max()).fillna(pd.Series(entered))
    last = np.zeros(len(fleet.slots))
    last[record.bike] = record.true_km
    last = np.where(fleet.private, last, fleet.end_km)[bike]
    found = lives["found"].to_numpy()
    ended = np.where(found >= 0, true[np.maximum(found, 0)], last)
    return {
        name: _day(TODAY - (fleet.end_km[bike] - km) / fleet.km_per_day[bike])
        for name, km in (("entry_on", entered), ("good_on", good.to_numpy()), ("end_on", ended))
    }


def _day(days: np.ndarray) -> pd.Series:
    return pd.Series(pd.to_datetime(np.floor(days), unit="D"))


def _dated_now(now: pd.DataFrame, windows: pd.DataFrame) -> pd.DataFrame:
    of = windows.set_index("life_id").loc[now["life_id"]]
    good_on = of["good_on"].reset_index(drop=True).where(now["good_km"].notna())
    dates = {"entry_on": of["entry_on"].to_numpy(), "good_on": good_on.to_numpy()}
    return now.assign(**dates, now_on=_day(np.full(len(now), float(TODAY))))


def _gaps(record: Recorded, bikes: pd.DataFrame) -> pd.DataFrame:
    """Days between contacts of private bikes, the open gap up to today too."""
    private = bikes["private"].to_numpy()[record.bike]
    bike, km = record.bike[private], record.km[private]
    if not len(bike):
        return pd.DataFrame({"unit_id": [], "gap_days": [], "open": []})
    last = np.append(bike[1:] != bike[:-1], True)
    following = np.where(last, bikes["bike_km"].to_numpy()[bike], np.append(km[1:], 0.0))
    days = (following - km) / bikes["km_per_day"].to_numpy()[bike]
    return pd.DataFrame(
        {"unit_id": bikes["unit_id"].to_numpy()[bike], "gap_days": days.clip(0), "open": last}
    )
