"""Frames of the static readings: supply, ground, ends, codes, connector."""

from models.frames import Column, FrameSchema

READINGS = FrameSchema(
    "readings",
    "one bench test: what was read with the throttle at rest",
    (
        Column("session_id", "text", "the bench test"),
        Column("sensor_id", "text", "the sensor"),
        Column("part_no", "text", "part number"),
        Column("kind", "text", "potentiometer or contactless", blank=True),
        Column("tracks", "whole", "tracks in the housing", blank=True),
        Column("output", "text", "rising or falling with opening", blank=True),
        Column("supply_nominal_v", "number", "the part's nominal supply", "V", True),
        Column("maker_closed_v_low", "number", "maker's limit", "V", True),
        Column("maker_closed_v_high", "number", "maker's limit", "V", True),
        Column("maker_open_v_low", "number", "maker's limit", "V", True),
        Column("maker_open_v_high", "number", "maker's limit", "V", True),
        Column("supply_v", "number", "reference pin to battery negative", "V", True),
        Column("supply_to_ground_v", "number", "reference pin to the plug's ground pin", "V", True),
        Column("track_ohm", "number", "end pin to end pin", "ohm", True),
        Column("closed_ohm", "number", "wiper to the same end pin, closed", "ohm", True),
        Column("open_ohm", "number", "wiper to the same end pin, open", "ohm", True),
        Column("closed_v", "number", "signal at the closed stop", "V", True),
        Column("open_v", "number", "signal at the open stop", "V", True),
        Column("closed_pct", "number", "control unit's figure, closed", "%", True),
        Column("open_pct", "number", "control unit's figure, open", "%", True),
        Column("corrosion", "text", "none, light or heavy", blank=True),
        Column("wiggle_test", "text", "steady or jumps", blank=True),
        Column("fault_codes", "text", "SAE J2012 codes, space-separated", blank=True),
        Column("unplugged_key_on", "text", "yes or no", blank=True),
        Column("verdict", "text", "pass, suspect or fail", blank=True),
    ),
)

READING_VALUES = FrameSchema(
    "reading_values",
    "one reading of one bench test, ratios worked out",
    (
        Column("session_id", "text", "the bench test"),
        Column("sensor_id", "text", "the sensor"),
        Column("part_no", "text", "part number"),
        Column("reading", "text", "name of the reading, e.g. track_ohm or closed_ratio"),
        Column("unit", "text", "V, ohm, % or blank for a ratio", blank=True),
        Column("value", "number", "its value, as written down", "V, ohm, % or ratio"),
        Column("doubt", "text", "question where it looks miswritten; blank otherwise", blank=True),
    ),
)

GOOD_READINGS = FrameSchema(
    "good_readings",
    "one reading of one sensor later shown good (one value a sensor and reading)",
    (
        Column("part_no", "text", "part number"),
        Column("sensor_id", "text", "the sensor"),
        Column("reading", "text", "name of the reading, e.g. track_ohm or closed_ratio"),
        Column("value", "number", "its value", "ohm, V or ratio"),
    ),
)

BANDS = FrameSchema(
    "bands",
    "one good range: part number x reading",
    (
        Column("part_no", "text", "part number"),
        Column("reading", "text", "name of the reading"),
        Column("unit", "text", "V, ohm, % or blank for a ratio", blank=True),
        Column("low", "number", "lower limit; blank where none", "", True),
        Column("high", "number", "upper limit; blank where none", "", True),
        Column("source", "text", "maker, learned or common_practice"),
        Column("method", "text", "in words: how the limits were found, coverage and confidence"),
        Column("sensor_count", "whole", "good sensors behind it"),
        Column(
            "more_needed",
            "whole",
            "further good sensors until a distribution-free interval is possible",
            blank=True,
        ),
    ),
)

CHECKS = FrameSchema(
    "checks",
    "one check of one bench test, in the order of reasoning",
    (
        Column("session_id", "text", "the bench test"),
        Column(
            "step",
            "whole",
            "order of reasoning: supply and ground first, then connector, then the sensor",
        ),
        Column("check", "text", "short name, e.g. supply"),
        Column("state", "text", "in_band, out_of_band, no_band or not_read"),
        Column("value", "number", "what was read or worked out; blank for words", "", True),
        Column("value_text", "text", "the value as shown, with its unit"),
        Column("unit", "text", "V, ohm, % or blank", blank=True),
        Column("low", "number", "lower limit used", "", True),
        Column("high", "number", "upper limit used", "", True),
        Column("band_source", "text", "where the limits come from, in words", blank=True),
        Column(
            "points_to",
            "text",
            "supply, ground, connector, wiring, sensor, control_unit, reading (it looks "
            "miswritten: the text asks) or blank",
            blank=True,
        ),
        Column("text", "text", "one plain sentence"),
    ),
)

CHECK_OUTCOMES = FrameSchema(
    "check_outcomes",
    "one bench test: what its checks come down to",
    (
        Column("session_id", "text", "the bench test"),
        Column("checks_out_of_band", "whole", "checks out of band that point to the sensor"),
        Column(
            "elsewhere",
            "text",
            "sentences of the checks out of band that point to supply, ground, connector or wiring",
            blank=True,
        ),
    ),
)

PROFILED_SENSORS = FrameSchema(
    "profiled_sensors",
    "one sensor later shown good that was swept",
    (
        Column("part_no", "text", "part number"),
        Column("sensor_id", "text", "the sensor"),
    ),
)

PROFILE_BINS = FrameSchema(
    "profile_bins",
    "one cell of the travel, from the closed stop on",
    (
        Column("bin_from_pct", "number", "lower edge", "% of travel"),
        Column("bin_to_pct", "number", "upper edge", "% of travel"),
    ),
)

TRAVEL_BANDS = FrameSchema(
    "travel_bands",
    "one cell of the travel of one part number: what good sensors show there",
    (
        Column("part_no", "text", "part number"),
        Column("bin_from_pct", "number", "lower edge", "% of travel"),
        Column("bin_to_pct", "number", "upper edge", "% of travel"),
        Column("typical_pct", "number", "geometric mean", "% of applied", True),
        Column("high_pct", "number", "upper limit, over all cells at once", "% of applied", True),
        Column("sensor_count", "whole", "good sensors behind it"),
        Column("more_needed", "whole", "further good sensors until no curve need be assumed"),
        Column("method", "text", "in words: how the limit was found"),
    ),
)
