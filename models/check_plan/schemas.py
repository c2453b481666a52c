"""Frames that go into and come out of the plan of checks."""

from models.frames import Column, FrameSchema

CHECK_COSTS = FrameSchema(
    "check_costs",
    "one sensor in service and one day ahead on which its bike might come in",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("shop_id", "text", "the shop that looks after it"),
        Column("fleet_id", "text", "its fleet; blank for a private bike", blank=True),
        Column("part_no", "text", "part number"),
        Column("action", "text", "what the visit would do: test or replace"),
        Column("day", "whole", "days from the as-of day", "days"),
        Column("cost", "number", "expected cost if it comes then", "currency", True),
        Column(
            "cost_without", "number", "expected cost if it does not come at all", "currency", True
        ),
        Column("part_needed", "number", "chance that the visit uses a part", "0 to 1"),
    ),
)

CHECK_BIKES = FrameSchema(
    "check_bikes",
    "one bike that may be called in",
    (
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number"),
        Column("shop_id", "text", "its shop"),
        Column("fleet_id", "text", "its fleet; blank for a private bike", blank=True),
        Column("last_session_id", "text", "last accepted test of any of its sensors", blank=True),
    ),
)

CHECK_OWED = FrameSchema(
    "check_owed",
    "one sensor in service whose advice is to work on it now",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("owed_for", "text", "advised, or not_known where too little is known of it"),
    ),
)

CHECK_WINDOWS = FrameSchema(
    "check_windows",
    "one window in which one bike can be spared, both days included",
    (
        Column("unit_id", "text", "the bike"),
        Column("free_from", "date", "first day"),
        Column("free_to", "date", "last day"),
    ),
)

CHECK_SHOPS = FrameSchema(
    "check_shops",
    "one shop",
    (
        Column("shop_id", "text", "the shop"),
        Column("shop_name", "text", "its name"),
        Column("bay_hours_per_day", "number", "bay hours a working day", "h", True),
    ),
)

CHECK_STOCK = FrameSchema(
    "check_stock",
    "one part in one shop, as last counted",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "part number"),
        Column("counted_on", "date", "day of the count"),
        Column("on_hand", "whole", "parts there"),
        Column("on_order", "whole", "parts ordered and not yet there"),
        Column("order_due_on", "date", "when these are due", blank=True),
        Column("lead_time_days", "number", "usual lead time of the part", "days", True),
    ),
)

CHECK_COMING = FrameSchema(
    "check_coming",
    "one part in one shop that today's stock plan advises to order, to fetch or to pass on",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "the number ordered"),
        Column("ordered", "whole", "to be ordered today, not yet placed", "parts"),
        Column("due_on", "date", "when these are due: the as-of day and the lead time"),
        Column("fetched", "whole", "to be fetched from other shops", "parts"),
        Column("passed_on", "whole", "to be passed on to other shops", "parts"),
    ),
)

CHECK_PARTS = FrameSchema(
    "check_parts",
    "one part number",
    (
        Column("part_no", "text", "part number"),
        Column("replaced_by", "text", "the number that supersedes it", blank=True),
    ),
)

CHECK_VISITS = FrameSchema(
    "check_visits",
    "one bike that is to come in, once in these weeks",
    (
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number"),
        Column("shop_id", "text", "its shop"),
        Column("shop_name", "text", "the shop's name"),
        Column("fleet_id", "text", "its fleet; blank for a private bike", blank=True),
        Column("on_day", "date", "the day"),
        Column("work_hours", "number", "bay hours planned", "h"),
        Column("sensor_count", "whole", "sensors looked at"),
        Column("todo", "text", "what to do, one sensor a line"),
        # money is blank for an operator: what a check costs is its shop's affair
        Column("saves", "number", "expected cost without the visit less with it", "currency", True),
        Column("owed", "flag", "the advice is to work on one of its sensors now"),
        Column("owed_for", "text", "advised or not_known; blank where not owed", blank=True),
        Column("best_day", "date", "best working day, windows and hours aside"),
        Column("waiting_costs", "number", "what the days after that cost", "currency", True),
        Column("late", "flag", "owed or worth it, and no later day is cheaper than the first"),
        Column("needs_advised_part", "flag", "rests on a part that is only advised to be got"),
        Column("with_depot", "whole", "bikes of its depot that come that day, itself included"),
        Column("why", "text", "why this day, plain sentences, one a line"),
        Column("uid", "text", "the visit's lasting identifier"),
    ),
)

CHECK_WORK = FrameSchema(
    "check_work",
    "one sensor looked at in a planned visit",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("part_no", "text", "part number"),
        Column("action", "text", "test or replace"),
        Column("on_day", "date", "the day"),
        Column("work_hours", "number", "bay hours planned", "h"),
        Column("saves", "number", "expected cost without the visit less with it", "currency"),
        Column("part_needed", "number", "chance that a part is used", "0 to 1"),
        Column("part_from", "text", "shelf, due, today or fetched; blank if none", blank=True),
        Column("part_taken", "text", "number of the part set aside for it", blank=True),
        Column("part_due_on", "date", "day from which that part is there", blank=True),
    ),
)

CHECK_UNPLACED = FrameSchema(
    "check_unplaced",
    "one bike that a check would pay for, or that nothing is known of, and that got no day",
    (
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number"),
        Column("shop_id", "text", "its shop"),
        Column("shop_name", "text", "the shop's name"),
        Column("fleet_id", "text", "its fleet; blank for a private bike", blank=True),
        Column("plight", "text", "no_window, no_part, no_hours, not_worth_a_day or cost_not_known"),
        Column("owed", "flag", "the advice is to work on one of its sensors now"),
        Column("best_day", "date", "best working day, all limits aside", blank=True),
        Column("waiting_costs", "number", "what going unchecked costs", "currency", True),
        Column("late", "flag", "owed or worth it, and the best day lies past"),
        Column("todo", "text", "what would be done, one sensor a line"),
        Column("words", "text", "why it has no day, plain sentences, one a line"),
    ),
)

CHECK_DAYS = FrameSchema(
    "check_days",
    "one shop and one working day ahead",
    (
        Column("shop_id", "text", "the shop"),
        Column("shop_name", "text", "its name"),
        Column("on_day", "date", "the day"),
        Column("week", "whole", "weeks from the as-of day's own, 0 for that"),
        Column("check_hours", "number", "bay hours for checks", "h"),
        Column("hours_assumed", "flag", "the shop's bay hours are not known"),
        Column("planned_hours", "number", "of these planned", "h"),
        Column("visit_count", "whole", "bikes that come"),
        Column("further_hours", "number", "expected on top where tests find a defect", "h"),
    ),
)

CHECK_ABOUT = FrameSchema(
    "check_about",
    "one shop: how good its plan is",
    (
        Column("shop_id", "text", "the shop"),
        Column("shop_name", "text", "its name"),
        Column("bike_count", "whole", "bikes that may be called in"),
        Column("visit_count", "whole", "of these planned"),
        Column("not_worth_count", "whole", "for which no visit pays in these weeks"),
        Column("saves", "number", "expected cost without the plan less with it", "currency"),
        Column("at_most", "number", "that, and what the best plan could add to it", "currency"),
        Column("method", "text", "exact or search"),
        Column("check_hours", "number", "bay hours for checks in these weeks", "h"),
        Column("planned_hours", "number", "of these planned", "h"),
        Column("hours_assumed", "flag", "the shop's bay hours are not known"),
    ),
)

CHECK_EVENTS = FrameSchema(
    "check_events",
    "one visit as it stands in calendars: planned, or cancelled since",
    (
        Column("uid", "text", "lasting identifier"),
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number"),
        Column("shop_id", "text", "its shop"),
        Column("shop_name", "text", "the shop's name"),
        Column("fleet_id", "text", "its fleet; blank for a private bike", blank=True),
        Column("on_day", "date", "the day"),
        Column("todo", "text", "what to do, one sensor a line"),
        Column("why", "text", "why this day"),
        Column("revision", "whole", "how often it was changed since first given out"),
        Column("changed_on", "date", "as-of day of the plan that changed it last"),
        Column("cancelled", "flag", "planned before, and no more"),
    ),
)
