"""Frames that go into and come out of the advice."""

from models.frames import Column, FrameSchema

EVIDENCE = FrameSchema(
    "evidence",
    "one sensor in service: all that the advice rests on",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("part_no", "text", "part number"),
        Column("kind", "text", "potentiometer or contactless", blank=True),
        Column("defect_now", "number", "chance of a defect now", "", True),
        Column("defect_now_low", "number", "lower end", "", True),
        Column("defect_now_high", "number", "upper end", "", True),
        Column("defect_5000_km", "number", "chance of a defect now or within 5,000 km", "", True),
        Column("risk_basis", "text", "what the risk rests on", blank=True),
        Column(
            "odometer_age_days",
            "number",
            "days since the bike's last odometer reading",
            "days",
            True,
        ),
        Column("last_session_id", "text", "last accepted test", blank=True),
        Column("last_tested_on", "date", "its day", blank=True),
        Column("last_verdict", "text", "pass, suspect or fail", blank=True),
        Column(
            "last_conclusion", "text", "what its sweep showed; blank where no sweep", blank=True
        ),
        Column("last_fault_nature", "text", "worn_track, wandering, undecided or none", blank=True),
        Column("last_dropout_count", "whole", "drop-outs seen", blank=True),
        Column("last_dropout_travel_pct", "number", "where most sit", "% of travel", True),
        Column("last_smoothness_pct", "number", "output smoothness", "% of applied", True),
        Column("last_sweep_advice", "text", "how to sweep again", blank=True),
        Column("km_since_test", "number", "run since that test", "km", True),
        Column(
            "elsewhere",
            "text",
            "checks of the last test that point to the supply, ground, "
            "connector or wiring, one a line",
            blank=True,
        ),
        Column(
            "unanswered",
            "text",
            "an earlier sweep with drop-outs that no later sweep or repair answers, in words; "
            "blank if none",
            blank=True,
        ),
        Column(
            "repaired_since_test",
            "text",
            "repair closed after the last test, in words; blank if none",
            blank=True,
        ),
        Column(
            "waiting",
            "text",
            "records of this sensor or bike that are set aside and why, one a line; blank if none",
            blank=True,
        ),
    ),
)

ADVICE = FrameSchema(
    "advice",
    "one sensor in service: what to do and why",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("action", "text", "replace, test, leave or not_enough_known"),
        Column("urgency", "number", "for sorting, greatest first"),
        Column("headline", "text", "one sentence"),
        Column("reasons", "text", "plain sentences, one a line, the weightiest first"),
        Column("look_elsewhere", "text", "what to settle before the sensor is blamed", blank=True),
    ),
)

PLAN_SENSORS = FrameSchema(
    "plan_sensors",
    "one sensor in service, as the plans take it",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("shop_id", "text", "shop that looks after it"),
        Column("fleet_id", "text", "its fleet; blank for a private bike", "", True),
        Column("part_no", "text", "part number of the sensor"),
        Column("new_part_no", "text", "part number that is fitted in its place"),
        Column("part_cost", "number", "price of that part", "money", True),
        Column("defect_now", "number", "chance of a defect now", "", True),
        Column("km_per_day", "number", "median of the bike's km a day ahead", "km/d", True),
        Column("new_hazard_ratio", "number", "hazard of a new sensor over the common", "", True),
    ),
)

PLAN_RATES = FrameSchema(
    "plan_rates",
    "one row: what holds for all sensors",
    (
        Column("heard_per_km", "number", "rate at which a defect is heard of", "1/km"),
        Column("road_share", "number", "share of road failures among the defects heard of"),
        Column("sensitivity", "number", "share of defective sensors that a test finds"),
        Column("false_alarm", "number", "share of sound sensors that a test condemns"),
    ),
)

CHEAPEST = FrameSchema(
    "cheapest",
    "one sensor in service: what costs least, by when, and what the others would cost",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("cheapest", "text", "replace, test or leave; blank where not known", "", True),
        Column("next_work", "text", "replace or test; blank where none pays", "", True),
        Column("next_km", "number", "distance ahead at which it is best done", "km", True),
        Column("next_days", "number", "days ahead, at the bike's usual km a day", "d", True),
        Column("horizon_km", "number", "distance over which costs are counted", "km", True),
        Column("replace_now", "number", "expected cost over the horizon", "money", True),
        Column("test_now", "number", "the same", "money", True),
        Column("test_later", "number", "the same, tested at the best later point", "money", True),
        Column("test_later_days", "number", "days ahead of that point", "d", True),
        Column(
            "replace_later", "number", "the same, replaced at the best later point", "money", True
        ),
        Column("replace_later_days", "number", "days ahead of that point", "d", True),
        Column("leave", "number", "the same, no work planned within the horizon", "money", True),
        Column("test_above", "number", "chance now from which acting beats leaving", "", True),
        Column(
            "replace_above", "number", "chance now from which replacing beats testing", "", True
        ),
        Column(
            "usual_cost_per_1000_km", "number", "of a new sensor in the long run", "money", True
        ),
    ),
)

PLANNED_WORK = FrameSchema(
    "planned_work",
    "one sensor in service: the work that is planned for it",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("work", "text", "replace or test; blank where none is planned", "", True),
        Column("work_days", "number", "days from the as-of day, 0 for now", "d", True),
        Column("owed_for", "text", "advised or not_known; blank where not due now", "", True),
    ),
)

NEED_BY_DRAW = FrameSchema(
    "need_by_draw",
    "one sensor in service, one fit and one day ahead",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("draw", "whole", "0 the estimate, 1 and on fits drawn"),
        Column("days", "whole", "days from the as-of day", "d"),
        Column("need", "number", "chance that it asks for a new part by then", "0 to 1", True),
    ),
)
