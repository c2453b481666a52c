"""Frames of the page on which other costs and levels are tried out, and of the advice kept."""

from models.frames import Column, FrameSchema

WHAT_IF_SENSORS = FrameSchema(
    "what_if_sensors",
    "one sensor in service, with the advice of the build",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number; the bike's id where there is none"),
        Column("shop_id", "text", "the bike's shop"),
        Column("shop_name", "text", "its name"),
        Column("part_no", "text", "part number"),
        Column("defect_now", "number", "chance of a defect now", "", True),
        Column("action_as_built", "text", "replace, test, leave or not_enough_known"),
    ),
)

WHAT_IF_ADVICE = FrameSchema(
    "what_if_advice",
    "one sensor in service, with the advice of the build and under other settings",
    (
        *WHAT_IF_SENSORS.columns,
        Column("action", "text", "advice under the settings tried"),
        Column("cost", "number", "expected cost of it over the horizon", "money", True),
    ),
)

WHAT_IF_ORDERS = FrameSchema(
    "what_if_orders",
    "one shop and part number ordered, under other settings and as built",
    (
        Column("shop_id", "text", "the shop"),
        Column("part_no", "text", "the number ordered"),
        Column("need", "number", "expected need over lead time and review", "parts", True),
        Column("order_parts", "whole", "order today", "parts", True),
        Column("order_money", "number", "its price", "money", True),
        Column("short_after", "number", "chance of running out after it", "0 to 1", True),
        Column("need_as_built", "number", "the same as built", "parts", True),
        Column("order_parts_as_built", "whole", "the same as built", "parts", True),
        Column("order_money_as_built", "number", "the same as built", "money", True),
        Column("short_after_as_built", "number", "the same as built", "0 to 1", True),
    ),
)

WHAT_IF_CHECKS = FrameSchema(
    "what_if_checks",
    "one shop: its plan of checks under other settings and as built",
    (
        Column("shop_id", "text", "the shop"),
        Column("shop_name", "text", "its name"),
        Column("visit_count", "whole", "visits planned"),
        Column("planned_hours", "number", "bay hours they take", "h"),
        Column("check_hours", "number", "bay hours kept for checks", "h"),
        Column("saves", "number", "expected cost without the visits less with them", "money"),
        Column("owed_count", "whole", "visits that are owed though they cost more than none"),
        Column("owed_adds", "number", "what those are expected to cost more", "money"),
        Column("visit_count_as_built", "whole", "visits planned as built"),
        Column("planned_hours_as_built", "number", "the same as built", "h"),
        Column("check_hours_as_built", "number", "the same as built", "h"),
    ),
)

ADVICE_FOLLOWED = FrameSchema(
    "advice_followed",
    "one action: how often it was advised, what the shop did within 180 days, what happened",
    (
        Column("action", "text", "replace, test, leave or not_enough_known"),
        Column("spell_count", "whole", "runs of days over which it was advised for a sensor"),
        Column("sensor_count", "whole", "sensors it was advised for"),
        Column("first_on", "date", "first day it was advised"),
        Column("last_on", "date", "last day it was advised"),
        Column("by_lot_count", "whole", "of the runs, drawn by lot"),
        Column("accepted_count", "whole", "of the runs, accepted by the shop"),
        Column("put_off_count", "whole", "of the runs, put off"),
        Column("overruled_count", "whole", "of the runs, overruled"),
        Column("tested_count", "whole", "of the runs, tested within 180 days"),
        Column("taken_off_count", "whole", "of the runs, replaced or cleaned within 180 days"),
        Column("confirmed_count", "whole", "of these, the defect confirmed"),
        Column("sound_count", "whole", "of these, found sound"),
        Column("road_failure_count", "whole", "road failures after it, before other advice"),
    ),
)

ANSWERS_FOLLOWED = FrameSchema(
    "answers_followed",
    "one action advised and one answer to it: what was done within 180 days, and what failed",
    (
        Column("action", "text", "replace, test, leave or not_enough_known"),
        Column("answer", "text", "accept, put_off, overrule, or none"),
        Column("spell_count", "whole", "runs of days over which it was advised for a sensor"),
        Column("sensor_count", "whole", "sensors it was advised for"),
        Column("tested_count", "whole", "of the runs, tested within 180 days"),
        Column("taken_off_count", "whole", "of the runs, replaced or cleaned within 180 days"),
        Column("confirmed_count", "whole", "of these, the defect confirmed"),
        Column("sound_count", "whole", "of these, found sound"),
        Column("road_failure_count", "whole", "road failures after it, before other advice"),
    ),
)
