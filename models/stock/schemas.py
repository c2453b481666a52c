"""Frames that go into and come out of the parts stock plan.

A *need* is a new part asked for: after a failure that the shop hears of, or by a planned
replacement. The *number ordered* is the part number that a need is ordered as.
"""

from models.frames import Column, FrameSchema

#: Days ahead at which chances of a need are handed over; between them they are drawn straight.
NEED_DAYS = (7, 14, 21, 28, 35, 42, 56, 70, 91, 126, 182)

PART_NEED = FrameSchema(
    "part_need",
    "one sensor in service, one draw of the model's parameters and one horizon",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("shop_id", "text", "shop that looks after the bike"),
        Column("part_no", "text", "part number of the sensor"),
        Column(
            "draw",
            "whole",
            "0 the estimate, from 1 on fits drawn from its distribution; the same draw is the "
            "same fit for all sensors",
        ),
        Column("days", "whole", "horizon, days from the as-of day", "d"),
        Column("need", "number", "chance that it asks for a new part by then", "0 to 1", True),
    ),
)

PARTS_SUPPLY = FrameSchema(
    "parts_supply",
    "one part number and how it is bought",
    (
        Column("part_no", "text", "the part number"),
        Column("unit_price", "number", "price of one; blank where not known", "currency", True),
        Column("pack_size", "whole", "sold in packs of so many", "parts", True),
        Column("lead_time_days", "whole", "from order to shelf", "d", True),
        Column("replaced_by", "text", "number that takes its place", blank=True),
        Column("supply_ends_on", "date", "last day on which it can be ordered", blank=True),
    ),
)

FITMENTS = FrameSchema(
    "fitments",
    "one part number that fits one model and mount",
    (
        Column("part_no", "text", "the part number"),
        Column("model_code", "text", "the bike's model"),
        Column("mount", "text", "where on the bike"),
    ),
)

SENSOR_PLACES = FrameSchema(
    "sensor_places",
    "one sensor in service and where it sits",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("model_code", "text", "the bike's model"),
        Column("mount", "text", "where on the bike"),
    ),
)

STOCK_COUNTS = FrameSchema(
    "stock_counts",
    "the latest count of one part number in one shop",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "the part number"),
        Column("counted_on", "date", "day of the count"),
        Column("on_hand", "whole", "on the shelf then", "parts"),
        Column("on_order", "whole", "ordered and not there then", "parts", True),
        Column("order_due_on", "date", "when these are due", blank=True),
        Column("used_since", "whole", "fitted at the shop's bikes after the count", "parts"),
    ),
)

FIRST_VISITS = FrameSchema(
    "first_visits",
    "one shop and part number: bikes never seen before, over the days watched",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "part number of the bike's sensor"),
        Column("days", "number", "days watched", "d"),
        Column("n_visits", "whole", "first visits of bikes with such a sensor", "bikes"),
        Column("n_asked", "whole", "new parts fitted at them", "parts"),
    ),
)

REPEATS = FrameSchema(
    "repeats",
    "one row: how often sensors fitted here were replaced again soon",
    (
        Column("n_repeats", "whole", "replaced again within the days watched", "sensors"),
        Column("days", "number", "days watched after fitting, all sensors", "sensor days"),
    ),
)

TRANSFERS_ALLOWED = FrameSchema(
    "transfers_allowed",
    "one shop that may give parts to one other shop; both owners agree",
    (
        Column("from_shop", "text", "the shop that gives"),
        Column("to_shop", "text", "the shop that takes"),
    ),
)

WALK_INS = FrameSchema(
    "walk_ins",
    "one shop and part number: new parts asked for by bikes never seen before",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "the part number"),
        Column("days", "number", "days watched", "d"),
        Column("n_visits", "whole", "first visits of bikes with such a sensor", "bikes"),
        Column("n_asked", "whole", "new parts fitted at them", "parts"),
        Column("shape", "number", "shape of the gamma posterior of the rate", "parts"),
        Column("rate_days", "number", "its rate: days that the posterior is worth", "d"),
        Column("per_year", "number", "parts a year, mean", "parts/a"),
        Column("per_year_low", "number", "lower 90 % limit", "parts/a"),
        Column("per_year_high", "number", "upper 90 % limit", "parts/a"),
        Column("own_share", "number", "how far it rests on the shop's own first visits", "0 to 1"),
    ),
)

STOCK_ORDERS = FrameSchema(
    "stock_orders",
    "one shop and number ordered: what to order today and why",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "the number ordered"),
        Column("used_for", "text", "numbers out of supply whose needs it takes", blank=True),
        Column("n_sensors", "whole", "sensors in service whose needs count", "sensors"),
        Column("n_left_out", "whole", "sensors without a chance, left out", "sensors"),
        Column("count_state", "text", "counted, stale or never"),
        Column("counted_on", "date", "day of the last count", blank=True),
        Column("counted", "whole", "on the shelf at the count", "parts", True),
        Column("used_since", "whole", "fitted since the count", "parts"),
        Column("on_hand", "whole", "on the shelf today, as far as known", "parts"),
        Column("old_on_hand", "whole", "of numbers out of supply, used first", "parts"),
        Column("due", "whole", "on order", "parts"),
        Column("due_on", "date", "when; blank where nothing is on order", blank=True),
        Column("due_state", "text", "none, due, overdue or assumed"),
        Column("there", "whole", "on hand and coming within the days covered", "parts"),
        Column("lead_time_days", "whole", "from order to shelf", "d"),
        Column("lead_time_assumed", "flag", "not on record, the default"),
        Column("unit_price", "number", "price of one", "currency"),
        Column("price_assumed", "flag", "not on record, the default"),
        Column("pack_size", "whole", "sold in packs of so many", "parts"),
        Column("covered_days", "whole", "lead time and review period", "d"),
        Column("need", "number", "parts expected to be asked for in these days", "parts"),
        Column("need_low", "whole", "lower 90 % limit", "parts"),
        Column("need_high", "whole", "upper 90 % limit", "parts"),
        Column("need_from_sensors", "number", "of them by sensors in service", "parts"),
        Column("need_from_repeats", "number", "of them by parts that fail again", "parts"),
        Column("need_from_walk_ins", "number", "of them by bikes never seen before", "parts"),
        Column("short_before", "number", "chance of a need unmet before an order can come", ""),
        Column("short_now", "number", "chance of a need unmet in the days, no order", ""),
        Column("short_after", "number", "the same with transfers and the order", ""),
        Column("filled_now", "number", "share filled in the review cycle, no order", "0 to 1"),
        Column("filled_after", "number", "the same with transfers and the order", "0 to 1"),
        Column("transfer_in", "whole", "parts from other shops", "parts"),
        Column("transfer_out", "whole", "parts to other shops", "parts"),
        Column("order_parts", "whole", "order now, whole packs", "parts"),
        Column("order_packs", "whole", "the same in packs", "packs"),
        Column("order_money", "number", "price of the order", "currency"),
        Column("base_stock", "whole", "level aimed at: on hand and due", "parts"),
        Column("tied_up", "number", "money in parts on hand and due", "currency"),
        Column("tied_up_after", "number", "the same with transfers and the order", "currency"),
        Column("none_is_right", "flag", "a slow mover: keeping none costs least"),
        Column("keep_one_cost", "number", "of keeping one for a year", "currency/a"),
        Column("keep_none_cost", "number", "of keeping none for a year", "currency/a"),
        Column("supply", "text", "open, ending (within the days covered) or ended"),
        Column("supply_ends_on", "date", "last day on which it can be ordered", blank=True),
    ),
)

STOCK_DEMAND = FrameSchema(
    "stock_demand",
    "one shop, number ordered and number of parts: how likely so many are asked for",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "the number ordered"),
        Column("parts", "whole", "parts asked for in lead time and review period", "parts"),
        Column("chance", "number", "of just so many", "0 to 1"),
        Column("up_to", "number", "chance of so many or fewer", "0 to 1"),
    ),
)

STOCK_WEEKS = FrameSchema(
    "stock_weeks",
    "one shop, number ordered and week ahead",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "the number ordered"),
        Column("week", "whole", "1 is the week from today"),
        Column("ends_on", "date", "its last day"),
        Column("need", "number", "parts expected to be asked for in it", "parts"),
        Column("need_by_then", "number", "from today to its end", "parts"),
        Column("need_low", "whole", "lower 90 % limit of that", "parts"),
        Column("need_high", "whole", "upper 90 % limit of that", "parts"),
        Column("arrives", "whole", "parts due in it, of transfers and orders too", "parts"),
        Column("on_shelf", "number", "expected at its end", "parts"),
        Column("short_now", "number", "chance of a need unmet at its end, no order", "0 to 1"),
        Column("short_after", "number", "with transfers and orders, later ones too", "0 to 1"),
        Column("order_expected", "whole", "to order at its end, needs as expected", "parts"),
    ),
)

STOCK_TRANSFERS = FrameSchema(
    "stock_transfers",
    "one transfer of one part number between two shops",
    (
        Column("part_no", "text", "the part number"),
        Column("from_shop", "text", "the shop that gives"),
        Column("to_shop", "text", "the shop that takes"),
        Column("parts", "whole", "how many", "parts"),
    ),
)

STOCK_POOLS = FrameSchema(
    "stock_pools",
    "one number ordered and shops that may pass parts to one another",
    (
        Column("part_no", "text", "the number ordered"),
        Column("shops", "text", "the shops, separated by commas"),
        Column("apart", "whole", "levels aimed at by each shop, added up", "parts"),
        Column("as_one", "whole", "level aimed at by one shared stock", "parts"),
    ),
)

LAST_TIME_BUYS = FrameSchema(
    "last_time_buys",
    "one shop and part number going out of supply without a number in its place",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "the part number"),
        Column("supply_ends_on", "date", "last day on which it can be ordered"),
        Column("state", "text", "open, closing (before the next review) or ended"),
        Column("covers_days", "number", "days that the last order must last", "d"),
        Column("need", "number", "parts expected to be asked for in them", "parts"),
        Column("need_low", "whole", "lower 90 % limit", "parts"),
        Column("need_high", "whole", "upper 90 % limit", "parts"),
        Column("in_stock", "whole", "on hand and due", "parts"),
        Column("buy_parts", "whole", "buy before it ends, whole packs", "parts"),
        Column("buy_money", "number", "their price", "currency"),
        Column("filled_after", "number", "share of these needs then filled", "0 to 1"),
    ),
)

LEFT_OUT = FrameSchema(
    "left_out",
    "one sensor whose need is not known, so that it counts nowhere in the plan",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "part number of the sensor"),
    ),
)
