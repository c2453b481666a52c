"""Frames that the page of the fleet reads."""

from models.frames import Column, FrameSchema

FLEET_BIKES = FrameSchema(
    "fleet_bikes",
    "one bike, in service or not: its chance of a road failure, and what is not known of it",
    (
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number; the id where there is none"),
        Column("shop_id", "text", "its shop"),
        Column("shop_name", "text", "the shop's name"),
        Column("fleet_id", "text", "its fleet; blank for a private bike", blank=True),
        Column("model_code", "text", "model"),
        Column("duty", "text", "duty", blank=True),
        Column("out_of_service", "flag", "by the records shown"),
        Column("out_of_service_on", "date", "since when", blank=True),
        Column("odometer_read_on", "date", "last reading", blank=True),
        Column("days_since_reading", "number", "days since then", "d", True),
        Column("odometer_stale", "flag", "not read for so long that a date is a guess", blank=True),
        Column("sensor_count", "whole", "sensors in service on it"),
        Column("chance_count", "whole", "of these, whose chance is known"),
        Column("untested_count", "whole", "of these, without a test since fitted or repaired"),
        Column("kindless_count", "whole", "of these, of a part whose kind is not on record"),
        Column("not_known_count", "whole", "of these, of which too little is known to advise"),
        Column("waiting_count", "whole", "of these, of which records are set aside"),
        Column("last_tested_on", "date", "last test of any of them, since that", blank=True),
        Column("visit_on", "date", "day planned for a check", blank=True),
        Column("plight", "text", "why a check got no day", blank=True),
        Column("road", "number", "chance of a road failure within 90 days", "0 to 1", True),
        Column("road_low", "number", "lower end, 90 %", "0 to 1", True),
        Column("road_high", "number", "upper end", "0 to 1", True),
        Column("typed_out_on", "date", "out of service, typed since the build", blank=True),
        Column("typed_back", "flag", "back in service, typed since the build"),
    ),
)

FLEET_WINDOWS = FrameSchema(
    "fleet_windows",
    "one window ahead in which one bike can be spared",
    (
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number"),
        Column("free_from", "date", "first day"),
        Column("free_to", "date", "last day"),
        Column("state", "text", "planned, typed or taken_back: the last two since the build"),
    ),
)
