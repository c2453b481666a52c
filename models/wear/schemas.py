"""Frames that go into and come out of the wear map.

Travel is cut into 50 bins of 2 %. An *intensity* is drop-outs a pass in one bin, were every
drop-out shown; *roughness* is a bin's output smoothness over its own session's median.
"""

from models.frames import Column, FrameSchema
from models.wear.exposure import BINS

WEAR_TESTS = FrameSchema(
    "wear_tests",
    "one bench test with a measured sweep of a sensor with a track",
    (
        Column("session_id", "text", "the bench test"),
        Column("sensor_id", "text", "the sensor"),
        Column("life_id", "text", "the sensor's life, as in life_windows"),
        Column("unit_id", "text", "the bike"),
        Column("part_no", "text", "part number"),
        Column("duty", "text", "the bike's duty; blank where not known", blank=True),
        Column("odometer_km", "number", "the bike's odometer at the test", "km"),
        Column("sensor_age_km", "number", "the sensor's age, or km since first sight", "km"),
        Column("speed_pct_per_s", "number", "median speed of the passes", "% of travel / s", True),
        Column("fault_nature", "text", "worn_track, wandering, undecided or none", blank=True),
    ),
)

_SHOWN_IN_A_BIN = (
    Column("bin_from_pct", "number", "lower edge, a multiple of 2", "% of travel"),
    Column("pass_count", "whole", "passes that crossed it"),
    Column("dropout_count", "whole", "drop-outs whose middle lies here"),
    Column("smoothness_pct", "number", "greatest output smoothness", "% of applied", True),
    Column("shortest_visible_ms", "number", "shortest drop-out sure to show", "ms", True),
)

WEAR_BINS = FrameSchema(
    "wear_bins",
    "one travel bin of one session, as in the sweep's profile; a bin left out is not seen",
    (Column("session_id", "text", "the bench test"), *_SHOWN_IN_A_BIN),
)

PLACED_BINS = FrameSchema(
    "wear_bins",
    "the same, of a test that is told by its place",
    (Column("test_no", "whole", "row of the test in wear_tests, from 0"), *_SHOWN_IN_A_BIN),
)

PROFILES = FrameSchema(
    "wear_profiles",
    "one travel bin of one test: what it could have shown and what it showed",
    (
        Column("session_id", "text", "the test"),
        Column("bin_from_pct", "number", "lower edge of the bin", "% of travel"),
        Column("exposure", "number", "passes that would have shown a drop-out", "passes"),
        Column("dropout_count", "whole", "drop-outs seen"),
        Column("roughness", "number", "smoothness over the session's median", "ratio", True),
    ),
)

ROUGHNESS_BAND = FrameSchema(
    "wear_roughness_band",
    "one travel bin of one part number: how rough sensors are there that passed without a defect",
    (
        Column("part_no", "text", "part number"),
        Column("bin_from_pct", "number", "lower edge of the bin", "% of travel"),
        Column("low", "number", "5 of 100 sensors are below", "ratio"),
        Column("middle", "number", "median of the sensors", "ratio"),
        Column("high", "number", "5 of 100 are above", "ratio"),
        Column("sensor_count", "whole", "sensors behind it, one test each"),
    ),
)

FAILURES = FrameSchema(
    "wear_failures",
    "one life that ended in a road failure or a confirmed defect",
    (
        Column("life_id", "text", "the life"),
        Column("failed_age_km", "number", "the sensor's age then", "km"),
    ),
)

DROPOUT_PLACES = FrameSchema(
    "wear_dropout_places",
    "one drop-out of one session, for the chance that a pass shows a known spot",
    (
        Column("session_id", "text", "the bench test"),
        Column("travel_pct", "number", "travel at its middle", "% of travel"),
        Column("pass_no", "whole", "the pass it lies in; rows without one are left out"),
    ),
)

PASS_REACH = FrameSchema(
    "wear_pass_reach",
    "one pass of one session",
    (
        Column("session_id", "text", "the bench test"),
        Column("pass_no", "whole", "in order of time, from 1"),
        Column("from_pct", "number", "travel at the start", "% of travel"),
        Column("to_pct", "number", "travel at the end", "% of travel"),
        Column("speed_pct_per_s", "number", "median speed", "% of travel / s"),
        Column("rate_hz", "number", "samples a second", "Hz"),
    ),
)

RIDES = FrameSchema(
    "rides",
    "one logged throttle position of one ride",
    (
        Column("unit_id", "text", "the bike"),
        Column("started_at", "text", "the ride"),
        Column("t_s", "number", "time from its start", "s"),
        Column("travel_pct", "number", "throttle position", "% of travel", True),
    ),
)

WEAR_MAP = FrameSchema(
    "wear_map",
    "one cell of travel and age of one part and duty (all: the fleet's mix)",
    (
        Column("part_no", "text", "part number, or all"),
        Column("duty", "text", "duty, or all"),
        Column("age_from_km", "number", "lower edge of the age cell", "km"),
        Column("age_to_km", "number", "upper edge", "km"),
        Column("bin_from_pct", "number", "lower edge of the travel bin", "% of travel"),
        Column("n_sensors", "whole", "sensors seen in this cell"),
        Column("n_tests", "whole", "tests that could have shown something here"),
        Column(
            "exposure", "number", "passes times the share of drop-outs they would show", "passes"
        ),
        Column("dropout_count", "whole", "drop-outs seen"),
        Column("intensity", "number", "drop-outs a pass; blank without evidence", "1/pass", True),
        Column("intensity_low", "number", "lower 90 % limit", "1/pass", True),
        Column("intensity_high", "number", "upper 90 % limit", "1/pass", True),
        Column("roughness", "number", "smoothness over the session's median", "ratio", True),
        Column("roughness_low", "number", "lower 90 % limit", "ratio", True),
        Column("roughness_high", "number", "upper 90 % limit", "ratio", True),
    ),
)

BANDS = FrameSchema(
    "wear_bands",
    "one worn band of one life as known after one of its tests",
    (
        Column("life_id", "text", "the life"),
        Column("session_id", "text", "the test up to which the records are used"),
        Column("band_no", "whole", "1 the strongest, then others shown beside it"),
        Column("sensor_age_km", "number", "the sensor's age at that test", "km"),
        Column("confidence", "number", "probability that there is such a band", "0 to 1"),
        Column("peak_pct", "number", "middle of the band", "% of travel"),
        Column("peak_low_pct", "number", "lower 90 % limit of that", "% of travel"),
        Column("peak_high_pct", "number", "upper 90 % limit", "% of travel"),
        Column("from_pct", "number", "lower edge", "% of travel"),
        Column("to_pct", "number", "upper edge", "% of travel"),
        Column("level", "number", "drop-outs a pass in the band", "1/pass"),
        Column("roughening", "number", "roughness in the band beyond the sound track", "ratio"),
        Column("at_stop", "flag", "the band reaches within 4 % of a stop"),
    ),
)

PROGRESS = FrameSchema(
    "wear_progress",
    "one life with a worn band: how it went on, and when its like failed",
    (
        Column("life_id", "text", "the life"),
        Column("tests_with_signs", "whole", "tests that show the band"),
        Column("moved_pct_per_1000km", "number", "shift of the middle", "%/1000 km", True),
        Column("moved_low", "number", "lower 90 % limit", "%/1000 km", True),
        Column("moved_high", "number", "upper 90 % limit", "%/1000 km", True),
        Column("widened_pct_per_1000km", "number", "growth of the width", "%/1000 km", True),
        Column("widened_low", "number", "lower 90 % limit", "%/1000 km", True),
        Column("widened_high", "number", "upper 90 % limit", "%/1000 km", True),
        Column("answer", "text", "km expected, level reached, or not enough known"),
        Column("fails_at_km", "number", "sensor's age at the level its like failed", "km", True),
        Column("fails_low_km", "number", "lower 90 % limit", "km", True),
        Column("fails_high_km", "number", "upper 90 % limit", "km", True),
    ),
)

#: Columns of where a life wears: its share of the wear in each travel bin.
OWN_SHARES = [f"share_{number:02d}" for number in range(BINS)]

OWN_WEAR = FrameSchema(
    "own_wear",
    "one life as known after its last test: how strongly and where it wears",
    (
        Column("life_id", "text", "the life"),
        Column("last_km", "number", "the sensor's age at that test", "km"),
        Column("level", "number", "expected drop-outs a pass", "1/pass"),
        *(Column(name, "number", "share of its wear in a bin", "0 to 1") for name in OWN_SHARES),
    ),
)

PATTERNS = FrameSchema(
    "patterns",
    "one travel bin of one duty (all: any): its pooled share of the wear",
    (
        Column("duty", "text", "duty, or all"),
        Column("bin_from_pct", "number", "lower edge of the bin", "% of travel"),
        Column("share", "number", "share of the wear", "0 to 1"),
        Column("share_low", "number", "lower 90 % limit", "0 to 1"),
        Column("share_high", "number", "upper 90 % limit", "0 to 1"),
    ),
)

#: What a fit says of a cell of the map, each with its 90 % limits.
CURVES = (
    *("intensity_low", "intensity", "intensity_high"),
    *("roughness_low", "roughness", "roughness_high"),
)

MAP_CURVES = FrameSchema(
    "map_curves",
    "one cell of travel and age of one part and duty that stand together: what the fit says of it",
    (
        Column("part_no", "text", "part number"),
        Column("duty", "text", "duty; blank where not known", blank=True),
        Column("age_from_km", "number", "lower edge of the age cell", "km"),
        Column("age_to_km", "number", "upper edge", "km"),
        Column("bin_from_pct", "number", "lower edge of the travel bin", "% of travel"),
        *(Column(name, "number", "as in the map", blank=True) for name in CURVES),
    ),
)
