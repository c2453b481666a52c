"""Other costs and levels tried out: read once, then weighed again and again without a build."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import duckdb
import numpy as np
import pandas as pd

from models.check_plan.in_short import checks_in_short
from models.check_plan.plan import CheckRecords
from models.check_plan.schemas import CHECK_ABOUT
from models.check_plan.settings import CheckSettings
from models.check_plan.stock import coming_today
from models.plans.actions import advised_actions, settled_cases
from models.plans.cheapest import Weighed, cheapest, event_prices, weigh
from models.plans.check_costs import check_costs
from models.plans.lot import drawn_lots
from models.plans.outlook import Outlook
from models.plans.planned_work import owed_now, planned_work, waiting_private
from models.plans.saving import EXPECTED_COST, cost_of_advice, expected_cost
from models.plans.schemas import EVIDENCE
from models.plans.settings import PlanSettings, declared, settings_from
from models.stock.plan import StockRecords, orders_today
from models.stock.schemas import STOCK_ORDERS, TRANSFERS_ALLOWED
from models.stock.settings import StockSettings
from pipeline.access.frames import plan_schemas as schemas
from pipeline.access.reading import Edition, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.access.what_if_records import checks_as_built, needs_ahead, needs_of, stock_as_built
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.settings.settings_file import SettingsFile, read_settings
from pipeline.lately import Lately
from pipeline.warehouse.check_plan import settings_for_checks
from pipeline.warehouse.plans import read_outlook
from pipeline.warehouse.stock import stock_settings

#: What was worked out of one base lately, of each kind.
MOST_BYTES = 64 * 2**20
#: Every setting by name: its bounds (with section, meaning and unit) and its assumed default.
SETTINGS = declared()
_PASSED_ON = "Parts passed to or from another owner's shop are left out of what stands here."


@dataclass(frozen=True)
class WhatIfBase:
    """All that another weighing needs. ``rows`` is one sensor in service, WHAT_IF_SENSORS.

    ``built_with`` the settings of the build; ``in_file`` those in the file now; ``problems`` what
    could not stand in it; ``orders`` STOCK_ORDERS and ``check_about`` CHECK_ABOUT of the build,
    and ``expected`` EXPECTED_COST by the estimate and by each fit. ``weighed``, ``askers``,
    ``needs`` and ``planned`` hold what was worked out from it lately.
    """

    edition: Edition
    built_with: PlanSettings
    in_file: PlanSettings
    problems: tuple[str, ...]
    rows: pd.DataFrame
    outlook: Outlook
    cases: pd.DataFrame
    last_tested_on: pd.Series
    stock: StockRecords
    orders: pd.DataFrame
    checks: CheckRecords
    check_about: pd.DataFrame
    expected: pd.DataFrame
    transfers: pd.DataFrame
    weighed: Lately[Weighed] = field(default_factory=lambda: Lately(2, MOST_BYTES), compare=False)
    askers: Lately[StockRecords] = field(
        default_factory=lambda: Lately(1, MOST_BYTES), compare=False
    )
    needs: Lately[StockRecords] = field(
        default_factory=lambda: Lately(2, MOST_BYTES), compare=False
    )
    planned: Lately[pd.DataFrame] = field(
        default_factory=lambda: Lately(8, MOST_BYTES), compare=False
    )

    @cached_property
    def lots(self) -> pd.Series:
        """Each sensor's lot of the quarter, whatever share of them is drawn."""
        return drawn_lots(self.cases["sensor_id"], self.last_tested_on, self.edition.as_of)


@dataclass(frozen=True)
class AdviceIf:
    """What would be advised: ``sensors`` WHAT_IF_ADVICE, ``expected`` a row of EXPECTED_COST."""

    sensors: pd.DataFrame
    expected: dict[str, float]


@dataclass(frozen=True)
class WeighedAnew:
    """Other settings, the alternatives under them, what costs least, and each sensor's action.

    What follows from it is worked out when it is first asked for, once.
    """

    base: WhatIfBase
    settings: PlanSettings
    weighed: Weighed
    costs: pd.DataFrame
    action: pd.Series

    @cached_property
    def work(self) -> pd.DataFrame:
        """PLANNED_WORK under these settings."""
        waiting = waiting_private(self.base.outlook.sensors, self.action, self.settings)
        return planned_work(self.costs, self.action, waiting)

    @cached_property
    def orders(self) -> pd.DataFrame:
        """STOCK_ORDERS under these settings."""
        work = self.work[["sensor_id", "work", "work_days"]]
        records = self.base.needs.of(_digest(work), self._stock)
        settings = StockSettings(**stock_settings(self.settings))
        return orders_today(records, settings, self.base.transfers).orders

    def _stock(self) -> StockRecords:
        """Of the same sensors as in a run before, the chances alone are other ones."""
        chances, known = needs_ahead(self.base.outlook, self.work)
        first = self.base.askers.of(known.tobytes(), lambda: self._asked_first(chances, known))
        return first.under(replace(first.needs, chances=chances))

    def _asked_first(self, chances: np.ndarray, known: np.ndarray) -> StockRecords:
        return replace(self.base.stock, needs=needs_of(self.base.outlook, chances, known))


@view
def what_if_base(home: Home, asker: Asker) -> WhatIfBase:
    """Read all that another weighing needs.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (manifest, connection):
        edition = edition_of(home, manifest)
        told = read_settings(home)
        allowed, left_out = _transfers(told, asker)
        evidence = EVIDENCE.check(connection.execute("from marts.evidence order by all").df())
        return WhatIfBase(
            edition,
            built_with(connection),
            told.settings,
            (*(told.problems if asker.sees_all else ()), *left_out),
            read_frame(connection, "what_if_sensors", schemas.WHAT_IF_SENSORS),
            read_outlook(connection),
            settled_cases(evidence),
            evidence["last_tested_on"],
            stock_as_built(connection, edition.as_of),
            STOCK_ORDERS.check(connection.execute("from marts.stock_orders").df()),
            checks_as_built(connection, edition.as_of),
            CHECK_ABOUT.check(connection.execute("from marts.check_about").df()),
            EXPECTED_COST.check(connection.execute("from marts.expected_cost order by draw").df()),
            allowed,
        )


def _transfers(told: SettingsFile, asker: Asker) -> tuple[pd.DataFrame, list[str]]:
    """TRANSFERS_ALLOWED among shops that the asker sees, and what is said of the others."""
    pairs, said = list(told.transfers), []
    if asker.shops is not None:
        pairs = [pair for pair in told.transfers if asker.shops.issuperset(pair)]
        if any(asker.shops.intersection(pair) for pair in set(told.transfers) - set(pairs)):
            said = [_PASSED_ON]
    frame = pd.DataFrame(pairs, columns=["from_shop", "to_shop"])
    return TRANSFERS_ALLOWED.check(frame), said


def built_with(connection: duckdb.DuckDBPyConnection) -> PlanSettings:
    """The owner's settings that a version was built with."""
    table = connection.execute("from marts.plan_settings").df()
    values = {name: json.loads(value) for name, value in table.itertuples(index=False)}
    return settings_from(values)[0]


def standing(values: Mapping[str, object]) -> PlanSettings:
    """Settings from their values by name; those not named are at their default.

    Raises
    ------
    ValueError
        A setting cannot stand; the message names it and says what was expected.
    """
    settings, faults = settings_from(values)
    if faults:
        raise ValueError("; ".join(f"{name}: {fault}" for name, fault in faults.items()))
    return settings


def weigh_anew(base: WhatIfBase, settings: PlanSettings) -> WeighedAnew:
    """Weigh every sensor under other settings, for all that is shown of them.

    Parameters
    ----------
    base : WhatIfBase
        From ``what_if_base``.
    settings : PlanSettings
        From ``standing``.
    """
    outlook = base.outlook
    # a level, a target or a horizon moves no price, so that the last weighing still holds
    prices = event_prices(outlook, outlook.known, settings)
    weighed = base.weighed.of(_digest(prices), lambda: weigh(outlook, settings))
    costs = cheapest(outlook, weighed, settings)
    lot = frozenset(base.lots.index[base.lots < settings.lot_share])
    return WeighedAnew(
        base, settings, weighed, costs, advised_actions(base.cases, costs, settings, lot)
    )


def advice_if(base: WhatIfBase, anew: WeighedAnew) -> AdviceIf:
    """Advice and cost under other settings, beside the advice of the build.

    Parameters
    ----------
    base : WhatIfBase
        From ``what_if_base``.
    anew : WeighedAnew
        From ``weigh_anew``.
    """
    costs, action = anew.costs, anew.action
    sensors = base.rows.assign(
        action=action.reindex(base.rows["sensor_id"]).to_numpy(),
        cost=cost_of_advice(costs, action).reindex(base.rows["sensor_id"]).to_numpy(float),
    )
    return AdviceIf(schemas.WHAT_IF_ADVICE.check(sensors), expected_cost(costs, action, 0))


def orders_if(base: WhatIfBase, anew: WeighedAnew) -> pd.DataFrame:
    """Orders under other settings beside those of the build: WHAT_IF_ORDERS.

    One shop and part number a row; parameters are those of ``advice_if``.
    """
    keys = ["shop_id", "part_no"]
    names = [*keys, "need", "order_parts", "order_money", "short_after"]
    now, built = anew.orders[names], base.orders[names]
    both = now.merge(built, on=keys, how="outer", suffixes=("", "_as_built"))
    return schemas.WHAT_IF_ORDERS.check(both.sort_values(keys))


def checks_if(
    base: WhatIfBase, anew: WeighedAnew, now_and_then: Callable[[], None] = lambda: None
) -> pd.DataFrame:
    """The plan of checks by shop under other settings, beside the build's: WHAT_IF_CHECKS.

    Takes some seconds in a large fleet. ``now_and_then`` is called meanwhile and may give it up by
    raising; parameters else are those of ``advice_if``.
    """
    now = base.planned.of(repr(anew.settings), lambda: _checks(base, anew, now_and_then))
    names = ["shop_id", "visit_count", "planned_hours", "check_hours"]
    built = base.check_about[names]
    both = now[["shop_name", "saves", "owed_count", "owed_adds", *names]].merge(
        built, on="shop_id", suffixes=("", "_as_built")
    )
    return schemas.WHAT_IF_CHECKS.check(both)


def _checks(base: WhatIfBase, anew: WeighedAnew, now_and_then: Callable[[], None]) -> pd.DataFrame:
    """The plan of checks under other settings: CHECKS_IN_SHORT."""
    settings, as_of = anew.settings, base.edition.as_of
    now_and_then()
    costs = check_costs(base.outlook, anew.weighed, anew.work, settings)
    now_and_then()
    records = replace(
        base.checks,
        costs=costs,
        owed=owed_now(anew.work),
        coming=coming_today(anew.orders, as_of),
    )
    chosen = CheckSettings(**settings_for_checks(settings))
    return checks_in_short(records, as_of, chosen, now_and_then)


def _digest(values: Iterable[np.ndarray] | pd.DataFrame) -> str:
    """Told apart by every value."""
    digest = hashlib.sha256()
    if isinstance(values, pd.DataFrame):
        values = (pd.util.hash_pandas_object(values, index=False).to_numpy(),)
    for value in values:
        digest.update(np.ascontiguousarray(value).tobytes())
    return digest.hexdigest()
