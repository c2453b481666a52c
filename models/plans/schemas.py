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
