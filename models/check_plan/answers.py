"""What the shops' answers say, bike by bike, as frames."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any
from uuid import NAMESPACE_URL, uuid5

import numpy as np
import pandas as pd

from models.check_plan import schemas
from models.check_plan.draft import Draft
from models.check_plan.gains import SensorGains
from models.check_plan.parts_taken import Replacement
from models.check_plan.settings import CheckSettings
from models.check_plan.shop_case import summed
from models.check_plan.shop_parts import ShopParts
from models.check_plan.solve import Solved
from models.check_plan.windows import day_of
from models.check_plan.wording import what_to_do, why_no_day, why_this_day

if TYPE_CHECKING:
    from models.check_plan.plan import CheckRecords, ShopProblem

_LEAST = 0.005
_UID_OF = "wear-atlas/check/{shop}/{unit}/after/{session}"


@dataclass(frozen=True)
class ShopAnswer:
    """A shop's problem, its answer, and on which days its bikes are free and bound to windows."""

    problem: ShopProblem
    solved: Solved
    free: np.ndarray
    bound: np.ndarray


def lasting_uid(shop_id: str, unit_id: str, last_session_id: object) -> str:
    """The identifier of a bike's next check: the same until the bike has been tested again."""
    session = "" if pd.isna(last_session_id) else str(last_session_id)
    name = _UID_OF.format(shop=shop_id, unit=unit_id, session=session)
    return f"{uuid5(NAMESPACE_URL, name)}@wear-atlas"


def told(
    answers: list[ShopAnswer],
    records: CheckRecords,
    gains: SensorGains,
    as_of: date,
    settings: CheckSettings,
) -> dict[str, pd.DataFrame]:
    """The frames of a plan by name, each as declared."""
    bikes = {name: column.tolist() for name, column in records.bikes.items()}
    tellers = [_Teller(answer, bikes, gains, as_of, settings) for answer in answers]
    rows: dict[str, list[dict]] = {
        "visits": [row for teller in tellers for row in teller.visits()],
        "work": [row for teller in tellers for row in teller.work()],
        "unplaced": [row for teller in tellers for row in teller.unplaced()],
        "days": [row for teller in tellers for row in teller.days()],
        "about": [teller.about() for teller in tellers],
    }
    declared = {
        "visits": (schemas.CHECK_VISITS, ["on_day", "shop_id", "unit_id"]),
        "work": (schemas.CHECK_WORK, ["on_day", "unit_id", "sensor_id"]),
        "unplaced": (schemas.CHECK_UNPLACED, ["waiting_costs", "unit_id"]),
        "days": (schemas.CHECK_DAYS, ["shop_id", "on_day"]),
        "about": (schemas.CHECK_ABOUT, ["shop_id"]),
    }
    return {
        name: schema.check(pd.DataFrame(rows[name], columns=schema.names)).sort_values(
            order,
            ascending=[name != "unplaced", *[True] * (len(order) - 1)],
            ignore_index=True,
            kind="stable",
        )
        for name, (schema, order) in declared.items()
    }


class _Teller:
    """One shop's answer, told as rows."""

    def __init__(
        self,
        answer: ShopAnswer,
        bikes: dict[str, list],
        gains: SensorGains,
        as_of: date,
        settings: CheckSettings,
    ) -> None:
        self.problem, self.case = answer.problem, answer.problem.made.case
        self.found, self.method = answer.solved
        self.answer, self.gains, self.as_of, self.settings = answer, gains, as_of, settings
        self.bikes = bikes
        self.sensor_ids, self.part_nos = (
            gains.sensors[name].tolist() for name in ("sensor_id", "part_no")
        )
        self.draft = Draft(self.case)
        self.top = _most_by_day(answer.problem, gains)
        self.owes = _owe(answer.problem)
        self.wanted = (self.top.max(axis=1, initial=-np.inf) > _LEAST) | self.owes
        early = answer.problem.bonus * (gains.days.max(initial=0) - gains.days)
        self.best = (self.top + self.owes[:, None] * early).argmax(axis=1)
        for bike in np.flatnonzero(self.found.choice >= 0).tolist():
            self.draft.put(bike, int(self.found.choice[bike]), int(self.found.day[bike]))
        self.parts = ShopParts(answer.problem, gains, as_of, self._replacements())

    def _head(self, row: int) -> dict[str, Any]:
        names = ("unit_id", "label", "shop_id", "fleet_id")
        kept = {name: self.bikes[name][row] for name in names}
        return kept | {"shop_name": self.problem.shop["shop_name"]}

    def _day(self, place: int) -> date:
        return day_of(self.as_of, self.gains.days[place])

    def _late(self, bike: int) -> bool:
        """A check is owed or worth it, no later day is cheaper than the first, waiting costs."""
        top = self.top[bike]
        waiting = top.argmax() == 0 and top[0] - top[-1] > _LEAST
        return bool(waiting and (top[0] > _LEAST or self.owes[bike]))

    def _planned(self) -> list[int]:
        return np.flatnonzero(self.found.choice >= 0).tolist()

    def visits(self) -> list[dict]:
        """One row a planned visit."""
        return [self._visit(bike) for bike in self._planned()]

    def _visit(self, bike: int) -> dict:
        case, day = self.case, int(self.found.day[bike])
        choice, row = int(self.found.choice[bike]), int(self.problem.bikes[bike])
        depot = case.depot[bike]
        members = self._members(choice)
        saves = float(sum(self.gains.gain[sensor, day] for sensor in members))
        reasons = {self.problem.owed_for[sensor] for sensor in members} - {""}
        facts = {
            "owed": bool(reasons),
            "saves": saves,
            "best_day": self._day(self.best[bike]),
            "waiting_costs": max(float(self.top[bike, self.best[bike]]) - saves, 0.0),
            "late": self._late(bike),
            "with_depot": int(self.draft.count[depot, day]) if depot >= 0 else 1,
        }
        why = why_this_day(
            day=self._day(day),
            bound=bool(self.answer.bound[row]),
            currency=self.settings.currency,
            stock_note=" ".join(filter(None, (self.parts.note(s, day) for s in members))),
            **facts,
        )
        unit, session = (self.bikes[name][row] for name in ("unit_id", "last_session_id"))
        return (
            self._head(row)
            | facts
            | {
                "on_day": self._day(day),
                "owed_for": "advised" if "advised" in reasons else next(iter(reasons), None),
                "needs_advised_part": any(self.parts.only_advised(s) for s in members),
                "work_hours": float(case.hours[choice, day]),
                "sensor_count": len(members),
                "todo": "\n".join(self._todo(sensor, day) for sensor in members),
                "why": "\n".join(why),
                "uid": lasting_uid(self.problem.shop["shop_id"], unit, session),
            }
        )

    def work(self) -> list[dict]:
        """One row a sensor looked at."""
        rows, gains = [], self.gains
        for bike in self._planned():
            day = int(self.found.day[bike])
            for sensor in self._members(int(self.found.choice[bike])):
                rows.append(
                    {
                        "sensor_id": self.sensor_ids[sensor],
                        "unit_id": self.bikes["unit_id"][int(self.problem.bikes[bike])],
                        "part_no": self.part_nos[sensor],
                        "action": "replace" if gains.replaces[sensor, day] else "test",
                        "on_day": self._day(day),
                        "work_hours": gains.hours[sensor, day],
                        "saves": gains.gain[sensor, day],
                        "part_needed": gains.part_needed[sensor, day],
                        **self.parts.columns(sensor),
                    }
                )
        return rows

    def unplaced(self) -> list[dict]:
        """One row a bike that got no day though a check would pay, or whose costs are unknown."""
        rows = [
            self._head(int(row))
            | self._none("cost_not_known", None, np.nan, late=False, todo="", row=int(row))
            for row in self.problem.unknown
        ]
        unplaced = np.flatnonzero((self.found.choice < 0) & self.wanted)
        return rows + [self._left_out(bike) for bike in unplaced.tolist()]

    def _left_out(self, bike: int) -> dict:
        day, row = int(self.best[bike]), int(self.problem.bikes[bike])
        own = self.problem.sensors[self._own_sensors(bike)]
        owed, most = self.problem.owed, float(self.top[bike, day])
        worth = [int(s) for s in own if self.gains.gain[s, day] > 0 or owed[s]]
        parts = [self.part_nos[s] for s in worth if self.gains.replaces[s, day]]
        plight, part = self._plights[bike], ", ".join(sorted(set(parts)))
        todo = "\n".join(self._todo(sensor, day) for sensor in worth)
        return self._head(row) | self._none(
            plight,
            self._day(day),
            most,
            late=self._late(bike),
            todo=todo,
            row=row,
            part_no=part,
            owed=bool(owed[worth].any()),
        )

    def _none(
        self,
        plight: str,
        best_day: date | None,
        waiting_costs: float,
        *,
        late: bool,
        todo: str,
        row: int,
        part_no: str = "",
        owed: bool = False,
    ) -> dict:
        words = why_no_day(
            plight,
            waiting_costs=waiting_costs,
            late=late,
            best_day=best_day,
            part_no=part_no,
            windows=bool(self.answer.free[row].any()),
            weeks=self.settings.weeks_ahead,
            owed=owed,
            currency=self.settings.currency,
        )
        return {
            "plight": plight,
            "owed": owed,
            "best_day": best_day,
            "waiting_costs": waiting_costs,
            "late": late,
            "todo": todo,
            "words": "\n".join(words),
        }

    @cached_property
    def _plights(self) -> np.ndarray:
        """Which limit leaves each bike no day: windows first, then parts, hours, and the depot's
        day; shape (bikes,).
        """
        case, problem = self.case, self.problem
        if not len(problem.bikes):
            return np.zeros(0, dtype=object)
        free, owed = self.answer.free[problem.bikes], problem.owed[problem.sensors]
        alone = self.gains.gain[problem.sensors] + problem.bonus * owed[:, None]
        # the case numbers its bikes in the order of its sensors
        each = _sensors_each(problem, self.gains)
        opens = ((alone > 0) & np.repeat(free, each, axis=0)).any(axis=1)
        pays = (summed(alone, problem.made.members) > 0) & free[case.bike]
        stocked = pays & ~(case.uses > self.draft.parts_left + 0.5).any(axis=2)
        fits = stocked & (case.hours <= self.draft.hours_left + 1e-6)
        first_sensor = np.cumsum(each) - each
        some_window = np.logical_or.reduceat(opens, first_sensor)
        some_part, some_hours = (
            np.logical_or.reduceat(can.any(axis=1), self.draft.first) for can in (stocked, fits)
        )
        limits = [(~some_window, "no_window"), (~some_part, "no_part")]
        limits.append((some_hours, "not_worth_a_day"))
        return np.select(
            [fits for fits, _ in limits],
            [np.array(word, dtype=object) for _, word in limits],
            np.array("no_hours", dtype=object),
        )

    def _own_sensors(self, bike: int) -> np.ndarray:
        """Places, in the case's order, of a bike's sensors."""
        members = self.problem.made.members[self.draft.first[bike] : self.draft.end[bike]]
        return np.array(sorted({sensor for some in members for sensor in some}))

    def _members(self, choice: int) -> list[int]:
        """Rows of the gains that a choice holds."""
        return [int(self.problem.sensors[s]) for s in self.problem.made.members[choice]]

    def _todo(self, sensor: int, day: int) -> str:
        action = "replace" if self.gains.replaces[sensor, day] else "test"
        needed = float(self.gains.part_needed[sensor, day])
        return what_to_do(action, self.sensor_ids[sensor], self.part_nos[sensor], needed)

    def _replacements(self) -> list[Replacement]:
        return [
            Replacement(sensor, self.part_nos[sensor], int(self.gains.days[day]))
            for bike in self._planned()
            for day in [int(self.found.day[bike])]
            for sensor in self._members(int(self.found.choice[bike]))
            if self.gains.replaces[sensor, day]
        ]

    def days(self) -> list[dict]:
        """One row a working day."""
        case, comes = self.case, self.found.choice >= 0
        placed = self.found.day[comes]
        taken = np.bincount(
            placed, case.hours[self.found.choice[comes], placed], minlength=len(self.gains.days)
        )
        further = np.zeros(len(self.gains.days))
        for bike in self._planned():
            day = int(self.found.day[bike])
            for sensor in self._members(int(self.found.choice[bike])):
                if not self.gains.replaces[sensor, day]:
                    needed = self.gains.part_needed[sensor, day]
                    further[day] += needed * self.settings.replace_hours
        monday = (self.as_of.weekday() + self.gains.days) // 7
        visits = np.bincount(placed, minlength=len(self.gains.days))
        return [
            {
                "shop_id": self.problem.shop["shop_id"],
                "shop_name": self.problem.shop["shop_name"],
                "on_day": self._day(place),
                "week": int(monday[place]),
                "check_hours": float(case.bay_hours[place]),
                "hours_assumed": self.problem.hours_assumed,
                "planned_hours": float(taken[place]),
                "visit_count": int(visits[place]),
                "further_hours": float(further[place]),
            }
            for place in range(len(self.gains.days))
        ]

    def about(self) -> dict:
        """How good the shop's plan is."""
        comes, case = self.found.choice >= 0, self.case
        saves = sum(row["saves"] for row in self.work())
        depot_days = int((self.draft.count[:-1] > 0).sum())
        saves -= self.settings.depot_day_cost * depot_days
        hours = case.hours[self.found.choice[comes], self.found.day[comes]]
        return {
            "shop_id": self.problem.shop["shop_id"],
            "shop_name": self.problem.shop["shop_name"],
            "bike_count": len(self.problem.bikes) + len(self.problem.unknown),
            "visit_count": int(comes.sum()),
            "not_worth_count": int((~self.wanted & ~comes).sum()),
            "saves": saves,
            "at_most": saves + self.found.at_most - self.found.value,
            "method": self.method,
            "check_hours": float(case.bay_hours.sum()),
            "planned_hours": float(hours.sum()),
            "hours_assumed": self.problem.hours_assumed,
        }


def _owe(problem: ShopProblem) -> np.ndarray:
    """Whether the check of some sensor of each bike is owed."""
    members = problem.made.members
    bike = np.repeat(problem.made.case.bike, [len(some) for some in members])
    sensor = np.fromiter((sensor for some in members for sensor in some), dtype=int)
    owed = problem.owed[problem.sensors[sensor]]
    return np.bincount(bike[owed], minlength=len(problem.bikes)) > 0


def _most_by_day(problem: ShopProblem, gains: SensorGains) -> np.ndarray:
    """What a visit to each bike can save on each day, limits aside, owed sensors always counted."""
    most = np.zeros((len(problem.bikes), len(gains.days)))
    # the case numbers its bikes in the order of its sensors
    bike = np.repeat(np.arange(len(problem.bikes)), _sensors_each(problem, gains))
    own = gains.gain[problem.sensors]
    owed = problem.owed[problem.sensors][:, None]
    np.add.at(most, bike, np.where(owed, own, np.maximum(own, 0.0)))
    return most


def _sensors_each(problem: ShopProblem, gains: SensorGains) -> np.ndarray:
    unit = gains.sensors["unit_id"].to_numpy()[problem.sensors]
    starts = np.flatnonzero(unit[1:] != unit[:-1]) + 1
    return np.diff(np.concatenate([[0], starts, [len(unit)]])) if len(unit) else np.zeros(0, int)
