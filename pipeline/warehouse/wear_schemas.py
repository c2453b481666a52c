"""Frames of the wear map that the warehouse keeps.

The map itself, bands and progress are declared in ``models.wear.schemas``.
"""

from models.frames import Column, FrameSchema

_BIN = Column("bin_from_pct", "number", "lower edge of the travel bin", "% of travel")


SWEEP_BANDS = FrameSchema(
    "sweep_bands",
    "one measured sweep: whether it by itself shows a worn band",
    (
        Column("session_id", "text", "the test"),
        Column("band_chance", "number", "chance of a worn band; blank if it cannot tell", "", True),
    ),
)

WEAR_SENSORS_NOW = FrameSchema(
    "wear_sensors_now",
    "one sensor with a track in service",
    (
        Column("life_id", "text", "its life"),
        Column("sensor_id", "text", "the sensor"),
        Column("part_no", "text", "part number"),
        Column("duty", "text", "the bike's duty", blank=True),
        Column("age_now_km", "number", "its age on the as-of day", "km", True),
        Column("rate_hz", "number", "samples a second of the logger used last", "Hz", True),
    ),
)

WEAR_GATHERED = FrameSchema(
    "wear_gathered",
    "one part and duty (all: any): whether its sensors' drop-outs share a place",
    (
        Column("part_no", "text", "part number, or all"),
        Column("duty", "text", "duty, or all"),
        Column("answer", "text", "concentrated, flat or not enough known"),
        Column("p_value", "number", "chance of as much in a flat fleet", "0 to 1", True),
        Column("from_pct", "number", "stretch that stands out most", "% of travel", True),
        Column("to_pct", "number", "its end", "% of travel", True),
        Column("ratio", "number", "drop-outs there over an even spread", "ratio", True),
        Column("n_sensors", "whole", "sensor lives with a likely band by their own tests alone"),
        Column("n_tests", "whole", "tests mapped"),
        Column("n_seen", "whole", "sensors mapped"),
    ),
)

WEAR_STRETCHES = FrameSchema(
    "wear_stretches",
    "one stretch of the travel of one sensor in service to sweep slowest",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("stretch_no", "whole", "1 holds most of the expected wear"),
        Column("from_pct", "number", "lower edge", "% of travel"),
        Column("to_pct", "number", "upper edge", "% of travel"),
        Column("share", "number", "share of the expected wear in it", "0 to 1"),
        Column("from_own_tests", "flag", "its own sweeps count, not only its like's"),
        Column("rate_hz", "number", "logger that would sweep it, to two figures", "Hz", True),
    ),
)

WEAR_SHARES = FrameSchema(
    "wear_shares",
    "one travel bin of one sensor in service: where its wear is expected",
    (
        Column("sensor_id", "text", "the sensor"),
        _BIN,
        Column("share", "number", "share of its wear", "0 to 1"),
    ),
)

WEAR_PASSES = FrameSchema(
    "wear_passes",
    "one logger rate and width of wear: passes that make it 95 % sure to see it",
    (
        Column("rate_hz", "number", "samples a second, to two figures", "Hz"),
        Column("width_pct", "number", "width of the wear", "% of travel"),
        Column("answer", "text", "passes, or cannot be reached with this logger"),
        Column("passes", "whole", "least number; 0 if it cannot be reached"),
        Column("speed_pct_per_s", "number", "sweep no faster", "% of travel / s"),
        Column("samples_in_width", "number", "samples in the width at that speed"),
        Column("chance_per_pass", "number", "that one pass shows it", "0 to 1"),
        Column("reached", "number", "how sure so many passes are", "0 to 1"),
    ),
)

WEAR_LIFT = FrameSchema(
    "wear_lift",
    "one chance that a pass over a worn spot lifts the wiper, of those it may be",
    (
        Column("chance", "number", "the chance", "0 to 1"),
        Column("weight", "number", "how far the records bear it out; adds up to 1", "0 to 1"),
    ),
)

WEAR_USAGE = FrameSchema(
    "wear_usage",
    "one travel bin of one bike whose throttle was logged",
    (
        Column("unit_id", "text", "the bike"),
        _BIN,
        Column("dwell", "number", "share of the time", "0 to 1"),
        Column("sliding", "number", "share of the travel moved", "0 to 1"),
        Column("logged_s", "number", "time that counts", "s"),
        Column("gap_s", "number", "time left out", "s"),
        Column("moved_pct", "number", "travel moved in all", "% of travel"),
        Column("rate_hz", "number", "samples a second", "Hz", True),
    ),
)

WEAR_PATTERNS = FrameSchema(
    "wear_patterns",
    "one travel bin of one duty: its pooled share of the wear",
    (
        Column("duty", "text", "duty, or all"),
        _BIN,
        Column("share", "number", "share of the wear", "0 to 1"),
        Column("share_low", "number", "lower 90 % limit", "0 to 1"),
        Column("share_high", "number", "upper 90 % limit", "0 to 1"),
        Column("n_seen", "whole", "sensors mapped"),
    ),
)

WEAR_ABOUT = FrameSchema(
    "wear_about",
    "the one row that says what the map rests on",
    (
        Column("reason", "text", "why there is no map, where there is none", blank=True),
        Column("n_seen", "whole", "sensors mapped"),
        Column("n_tests", "whole", "tests mapped"),
        Column("dropout_count", "whole", "drop-outs mapped"),
        Column("worn_share", "number", "share of sensors with a worn band", "0 to 1", True),
        Column("stray_rate", "number", "drop-outs that are no wear", "1/pass and bin", True),
        Column("lift_chance", "number", "that a pass over a worn spot shows it", "0 to 1", True),
        Column("lift_low", "number", "lower 90 % limit", "0 to 1", True),
        Column("lift_high", "number", "upper 90 % limit", "0 to 1", True),
        Column("lift_shown", "whole", "later passes that showed a known spot again"),
        Column("lift_passes", "whole", "later passes that crossed a known spot"),
        Column("n_logged", "whole", "bikes whose throttle was logged"),
        Column("use_answer", "text", "dwell, sliding, cannot be decided or not enough known"),
        Column("use_difference", "number", "log likelihood, dwell less sliding", "", True),
        Column("use_low", "number", "lower 90 % limit", "", True),
        Column("use_high", "number", "upper 90 % limit", "", True),
        Column("use_over_even", "number", "the better one against an even spread", "", True),
        Column("use_n_bikes", "whole", "bikes with a log and drop-outs"),
        Column("use_n_dropouts", "whole", "their drop-outs"),
    ),
)

WEAR_FIT = FrameSchema(
    "wear_fit",
    "the fit that the wear map rests on; no row where there is no map",
    (
        Column("fit_version", "text", "its day and the beginning of its records' digest"),
        Column("fitted_as_of", "date", "as of which day the records were"),
        Column("n_tests", "whole", "swept tests that it rests on"),
        Column("n_lives_with_dropouts", "whole", "sensor lives among them with a drop-out"),
        Column("n_failures", "whole", "failures that it rests on"),
        Column("why_fitted", "text", "why it was made at this build, if it was", blank=True),
        Column("tests_since", "whole", "tests new, changed or gone since"),
        Column("lives_since", "whole", "sensor lives with drop-outs among them"),
    ),
)
