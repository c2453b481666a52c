"""The parts of one shop's planned visits: which each takes, and what is said of it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, Any

from models.check_plan.gains import SensorGains
from models.check_plan.parts_taken import ADVISED, Replacement, parts_taken
from models.check_plan.windows import day_of
from models.check_plan.wording import no_count, no_part_by_then, part_for_a_test, part_there

if TYPE_CHECKING:
    from models.check_plan.plan import ShopProblem

#: Chance that a test needs a part from which it is said whether one is there.
_MAY_WELL_NEED = 0.1


class ShopParts:
    """The parts that a shop's planned replacements take.

    Parameters
    ----------
    problem : ShopProblem
        The shop's, with its supply.
    gains : SensorGains
        Of all sensors.
    as_of : date
        The as-of day.
    replacements : iterable of Replacement
        All that are planned in the shop.
    """

    def __init__(
        self,
        problem: ShopProblem,
        gains: SensorGains,
        as_of: date,
        replacements: Iterable[Replacement],
    ) -> None:
        self.problem, self.gains, self.as_of = problem, gains, as_of
        self.part_nos = gains.sensors["part_no"].tolist()
        self.shop = problem.shop["shop_id"]
        some = replacements if problem.counted else ()
        self.taken = parts_taken(self.shop, some, problem.supply, problem.chains)

    def only_advised(self, sensor: int) -> bool:
        """Whether its part is no more than today's advice to order or fetch one."""
        taken = self.taken.get(sensor)
        return taken is not None and taken.source in ADVISED

    def columns(self, sensor: int) -> dict[str, Any]:
        """The part set aside, as CHECK_WORK has it; blank where none is, or none is counted."""
        taken = self.taken.get(sensor)
        if taken is None:
            return {"part_from": None, "part_taken": None, "part_due_on": None}
        due = day_of(self.as_of, taken.due)
        return {"part_from": taken.source, "part_taken": taken.part_no, "part_due_on": due}

    def note(self, sensor: int, day: int) -> str:
        """Whether the part is there, for a replacement or where a test may well need one."""
        part, replaces = self.part_nos[sensor], bool(self.gains.replaces[sensor, day])
        if not self.problem.counted:
            return no_count(part) if replaces else ""
        if replaces:
            return self._of_replacement(sensor)
        if self.gains.part_needed[sensor, day] < _MAY_WELL_NEED:
            return ""
        sources = self._there_by(part, int(self.gains.days[day]))
        return part_for_a_test(part, advised=bool(sources), sure=bool(sources - set(ADVISED)))

    def _of_replacement(self, sensor: int) -> str:
        taken = self.taken.get(sensor)
        if taken is None:
            return no_part_by_then(self.part_nos[sensor])
        # a part that is there by tomorrow is there for every day planned
        due = day_of(self.as_of, taken.due) if taken.due > 1 else None
        return part_there(taken.part_no, taken.source, due)

    def _there_by(self, part_no: str, day: int) -> set[str]:
        chain = self.problem.chains.get(part_no, [part_no])
        there = [
            one for number in chain for one in self.problem.supply.get((self.shop, number), [])
        ]
        return {one.source for one in there if one.count and one.due <= day}
