"""Frames that the dashboard reads, one group a view."""

from models.frames import Column, FrameSchema
from models.risk.ahead import RISK_AHEAD
from models.risk.life_quantiles import LIFE_QUANTILES
from models.risk.schemas import EXPLANATION, FLEET_CURVE, RISK_FIT
from models.statics.schemas import CHECKS, TRAVEL_BANDS

WORKLIST = FrameSchema(
    "worklist",
    "one sensor in service: what to do, why, and the numbers behind it",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number; the bike's id where there is none"),
        Column("shop_id", "text", "the bike's shop"),
        Column("shop_name", "text", "its name"),
        Column("fleet_id", "text", "fleet; blank for a private bike", blank=True),
        Column("duty", "text", "duty; blank where not known", blank=True),
        Column("model_code", "text", "model"),
        Column("mount", "text", "where on the bike"),
        Column("part_no", "text", "part number"),
        Column("kind", "text", "potentiometer or contactless", blank=True),
        Column("action", "text", "replace, test, leave or not_enough_known"),
        Column("urgency", "number", "greatest first"),
        Column("headline", "text", "one sentence"),
        Column("reasons", "text", "plain sentences, one a line"),
        Column("look_elsewhere", "text", "what to settle before the sensor is blamed", blank=True),
        Column("waiting", "text", "set-aside records of this bike and why, one a line", blank=True),
        Column("defect_now", "number", "chance of a defect now, 0 to 1", "", True),
        Column("defect_now_low", "number", "lower end, 90 %", "", True),
        Column("defect_now_high", "number", "upper end, 90 %", "", True),
        Column("defect_1000_km", "number", "now or within 1,000 km", "", True),
        Column("defect_1000_km_low", "number", "lower end", "", True),
        Column("defect_1000_km_high", "number", "upper end", "", True),
        Column("defect_5000_km", "number", "now or within 5,000 km", "", True),
        Column("defect_5000_km_low", "number", "lower end", "", True),
        Column("defect_5000_km_high", "number", "upper end", "", True),
        Column("defect_10000_km", "number", "now or within 10,000 km", "", True),
        Column("defect_10000_km_low", "number", "lower end", "", True),
        Column("defect_10000_km_high", "number", "upper end", "", True),
        Column(
            "defect_now_if_silent", "number", "now, were a defect never heard of untested", "", True
        ),
        Column("defect_now_if_all_heard", "number", "now, were every bike still in view", "", True),
        Column("km_90_days", "number", "median km that the bike runs in 90 days", "km", True),
        Column("road_90_days", "number", "chance of a road failure within 90 days", "", True),
        Column("road_90_days_low", "number", "lower end", "", True),
        Column("road_90_days_high", "number", "upper end", "", True),
        Column("odometer_stale", "flag", "not read for so long that a date is a guess", blank=True),
        Column("risk_basis", "text", "what the risk rests on", blank=True),
        Column("last_session_id", "text", "last accepted test", blank=True),
        Column("last_tested_on", "date", "its day", blank=True),
        Column("last_verdict", "text", "pass, suspect or fail", blank=True),
        Column("last_conclusion", "text", "what its sweep showed", blank=True),
        Column("last_dropout_count", "whole", "drop-outs seen", blank=True),
        Column("last_dropout_travel_pct", "number", "where most sit", "% of travel", True),
        Column("km_since_test", "number", "run since that test", "km", True),
        Column("odometer_now_km", "number", "estimated for the as-of day", "km", True),
        Column("odometer_read_on", "date", "last reading", blank=True),
        Column("above_floor", "flag", "the chance now has reached the set floor", blank=True),
        Column("answer", "text", "accept, put_off or overrule, while it stands", blank=True),
        Column("answered_on", "date", "its day", blank=True),
        Column("answer_to", "text", "the advice answered", blank=True),
        Column("answer_until", "date", "put off until", blank=True),
        Column("answer_reason", "text", "why", blank=True),
        Column("answered_by", "text", "who", blank=True),
        Column("answer_pending", "flag", "typed since the build, not in these records yet"),
    ),
)

WORKLIST_CHOICES = FrameSchema(
    "worklist_choices",
    "one shop, fleet and duty that some sensor in service has together",
    (
        Column("shop_id", "text", "the bike's shop"),
        Column("shop_name", "text", "its name"),
        Column("fleet_id", "text", "fleet; blank for a private bike", blank=True),
        Column("duty", "text", "duty; blank where not known", blank=True),
    ),
)

WORKLIST_OFFERED = FrameSchema(
    "worklist_offered",
    "one sensor in service that an answer to its advice can be given to",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("label", "text", "plate or fleet number; the bike's id where there is none"),
        Column("mount", "text", "where on the bike"),
        Column("action", "text", "replace, test, leave or not_enough_known"),
        Column("above_floor", "flag", "the chance now has reached the set floor", blank=True),
    ),
)

BIKE = FrameSchema(
    "bike",
    "one bike",
    (
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number; the id where there is none"),
        Column("shop_id", "text", "its shop"),
        Column("shop_name", "text", "its name"),
        Column("fleet_id", "text", "fleet", blank=True),
        Column("model_code", "text", "model"),
        Column("model_year", "whole", "model year", blank=True),
        Column("duty", "text", "duty", blank=True),
        Column("in_service_on", "date", "in service since", blank=True),
        Column("out_of_service_on", "date", "out of service since", blank=True),
        Column("odometer_now_km", "number", "estimated for the as-of day", "km", True),
        Column("odometer_read_km", "number", "last reading", "km", True),
        Column("odometer_read_on", "date", "its day", blank=True),
        Column("km_per_day", "number", "recent rate", "km/day", True),
        Column("ahead_km_per_day", "number", "expected over the next 90 days", "km/day", True),
        Column("ahead_km_per_day_low", "number", "lower end, 90 %", "km/day", True),
        Column("ahead_km_per_day_high", "number", "upper end", "km/day", True),
        Column("odometer_stale", "flag", "not read for so long that a date is a guess", blank=True),
        Column("days_since_reading", "number", "since the last reading", "d", True),
        Column("km_since_reading_low", "number", "run since then, lower end, 90 %", "km", True),
        Column("km_since_reading_high", "number", "upper end", "km", True),
    ),
)

SENSOR_LIVES = FrameSchema(
    "sensor_lives",
    "one sensor that is or was on the bike",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("mount", "text", "where on the bike"),
        Column("part_no", "text", "part number"),
        Column("part_description", "text", "what it is"),
        Column("origin", "text", "fitted_here, original or unknown"),
        Column("in_service", "flag", "still on the bike"),
        Column("from_on", "date", "fitted, or first seen", blank=True),
        Column("from_km", "number", "odometer then", "km", True),
        Column("to_on", "date", "removed", blank=True),
        Column("to_km", "number", "odometer then", "km", True),
        Column("removed_reason", "text", "why", blank=True),
        Column("end_assumed", "flag", "no removal recorded: taken from the next sensor's fitting"),
    ),
)

BIKE_TESTS = FrameSchema(
    "bike_tests",
    "one test of one of the bike's sensors",
    (
        Column("session_id", "text", "the test"),
        Column("sensor_id", "text", "the sensor"),
        Column("tested_on", "date", "day"),
        Column("odometer_km", "number", "odometer", "km"),
        Column("reason", "text", "why tested", blank=True),
        Column("symptom", "text", "what the rider noticed", blank=True),
        Column("verdict", "text", "the technician's", blank=True),
        Column("conclusion", "text", "what the sweep showed; blank where no sweep", blank=True),
        Column("fault_nature", "text", "worn_track, wandering, undecided or none", blank=True),
        Column("dropout_count", "whole", "drop-outs seen", blank=True),
        Column("dropout_peak_travel_pct", "number", "where most sit", "% of travel", True),
        Column("smoothness_pct", "number", "output smoothness", "% of applied", True),
        Column("fault_codes", "text", "SAE codes", blank=True),
        Column("note", "text", "note", blank=True),
    ),
)

BIKE_REPAIRS = FrameSchema(
    "bike_repairs",
    "one closed repair on one of the bike's sensors",
    (
        Column("outcome_id", "text", "the repair"),
        Column("sensor_id", "text", "the sensor"),
        Column("session_id", "text", "the test that led here", blank=True),
        Column("closed_on", "date", "day"),
        Column("odometer_km", "number", "odometer", "km"),
        Column("action", "text", "what was done"),
        Column("fault_confirmed", "text", "yes, no or blank", blank=True),
        Column("confirmed_by", "text", "how", blank=True),
        Column("on_road", "text", "yes, no or blank", blank=True),
        Column("event", "text", "defect, road_failure or blank: what it counts as", blank=True),
    ),
)

ODOMETER = FrameSchema(
    "odometer",
    "one odometer reading of the bike",
    (
        Column("read_on", "date", "day"),
        Column("odometer_km", "number", "reading", "km"),
        Column(
            "source", "text", "odometer, test, repair, fitting, first sight, failure or removal"
        ),
    ),
)

BAND_READINGS = FrameSchema(
    "band_readings",
    "one reading of one test against the good range",
    (
        Column("session_id", "text", "the test"),
        Column("sensor_id", "text", "the sensor"),
        Column("tested_on", "date", "day"),
        Column("odometer_km", "number", "odometer", "km"),
        Column("reading", "text", "name of the reading"),
        Column("unit", "text", "V, ohm, % or blank", blank=True),
        Column("value", "number", "its value"),
        Column("low", "number", "lower limit", "", True),
        Column("high", "number", "upper limit", "", True),
        Column("source", "text", "maker, learned, common_practice or blank", blank=True),
        Column("method", "text", "how the limits were found", blank=True),
        Column("sensor_count", "whole", "good sensors behind the limits", blank=True),
    ),
)

SET_ASIDE = FrameSchema(
    "set_aside",
    "one thing that stands between a handed-in value and the records",
    (
        Column("file", "text", "the file's name as handed in"),
        Column("line", "whole", "line of a CSV file, row of a Parquet file, from 1"),
        Column("table", "text", "the contract's table", blank=True),
        Column("key", "text", "the row's key, its parts joined by /", blank=True),
        Column("column", "text", "the column at fault", blank=True),
        Column("value", "text", "what stood there", blank=True),
        Column("reason", "text", "what is wrong and what was expected"),
    ),
)

SESSION = FrameSchema(
    "session",
    "one bench test",
    (
        Column("session_id", "text", "the test"),
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number; the id where there is none"),
        Column("model_code", "text", "model"),
        Column("mount", "text", "where on the bike"),
        Column("part_no", "text", "part number"),
        Column("kind", "text", "potentiometer or contactless", blank=True),
        Column("output", "text", "rising or falling with opening", blank=True),
        Column("shop_id", "text", "where tested", blank=True),
        Column("tested_at", "text", "when, with offset, as recorded"),
        Column("odometer_km", "number", "odometer", "km"),
        Column("sensor_age_km", "number", "run by the sensor", "km", True),
        Column("reason", "text", "why tested", blank=True),
        Column("symptom", "text", "what the rider noticed", blank=True),
        Column("technician", "text", "who tested", blank=True),
        Column("sweep_channel", "text", "volt, ohm or percent", blank=True),
        Column("supply_v", "number", "supply", "V", True),
        Column("temp_c", "number", "temperature", "°C", True),
        Column("fault_codes", "text", "SAE codes", blank=True),
        Column("unplugged_key_on", "text", "yes, no or blank", blank=True),
        Column("verdict", "text", "the technician's", blank=True),
        Column("note", "text", "note", blank=True),
    ),
)

SWEEP_PLACES = FrameSchema(
    "sweep_places",
    "one measure of a session's volt sweep, against the good range of its part number",
    (
        Column("reading", "text", "name of the measure, e.g. smoothness_pct"),
        Column("value", "number", "its value", "% of applied", True),
        Column("high", "number", "upper limit; blank where none is known", "% of applied", True),
        Column("sensor_count", "whole", "good sensors behind the limit", blank=True),
        Column(
            "more_needed",
            "whole",
            "further good sensors until no curve need be assumed",
            blank=True,
        ),
        Column("method", "text", "how the limit was found", blank=True),
    ),
)

BACKTEST_SKILL = FrameSchema(
    "backtest_skill",
    "one way to rank sensors or to state chances, scored on what came to light after some dates",
    (
        Column("name", "text", "ours, mileage only or oldest first"),
        Column("n_scored", "whole", "sensors looked on after, over all dates"),
        Column("n_found", "whole", "of these, in which a defect came to light"),
        Column(
            "top_tenth_share", "number", "share of them in the first tenth of each list", "", True
        ),
        Column("brier", "number", "mean squared error of the chances", "", True),
        Column("log_loss", "number", "mean of minus log of the chance of what happened", "", True),
        Column("found_over_expected", "number", "found over the sum of chances", "", True),
        Column("slope", "number", "calibration slope", "", True),
        Column("too_few", "flag", "too few were found to prove anything"),
    ),
)

BACKTEST_CALIBRATION = FrameSchema(
    "backtest_calibration",
    "one group of sensors looked on after some dates: defects expected and found",
    (
        Column("by", "text", "what the groups are: tenth (of the chance), part, duty, date, all"),
        Column("group", "text", "which group"),
        Column("n", "whole", "sensors looked on after"),
        Column("found", "number", "of these, in which a defect came to light"),
        Column("expected", "number", "sum of their chances"),
        Column("sd", "number", "standard deviation of the number, were the chances right"),
        Column("chance_from", "number", "least chance in the group, 0 to 1"),
        Column("chance_to", "number", "greatest chance in the group, 0 to 1"),
    ),
)

BACKTEST_ABOUT = FrameSchema(
    "backtest_about",
    "the looking back as a whole",
    (
        Column("dates", "whole", "dates looked on from"),
        Column("first_on", "date", "the first", blank=True),
        Column("last_on", "date", "the last", blank=True),
        Column("every_days", "whole", "days from one to the next", "d"),
        Column("reason", "text", "why some or all were left out, one a line", blank=True),
    ),
)

ASSUMED_AND_LEARNED = FrameSchema(
    "assumed_and_learned",
    "one quantity: what was assumed of it and what the records made of that, with 90 % ranges",
    (
        Column("quantity", "text", "sensitivity, a sign (as fail), delay or season"),
        Column("unit", "text", "share (0 to 1), km or times"),
        Column("assumed", "number", "middle, before any record"),
        Column("assumed_low", "number", "lower end"),
        Column("assumed_high", "number", "upper end"),
        Column("learned", "number", "middle, after the records"),
        Column("learned_low", "number", "lower end"),
        Column("learned_high", "number", "upper end"),
        Column("rests_on", "text", "the records behind it, in words"),
    ),
)

SILENCE = FrameSchema(
    "silence",
    "one way to take it that nothing was heard of a sensor since its last test",
    (
        Column("way", "text", "as_taken, silence_tells_nothing or all_in_view_to_this_day"),
        Column("sensor_count", "whole", "sensors in service with a chance"),
        Column("expected_defects", "number", "sum of their chances of a defect now"),
        Column("differing_count", "whole", "sensors whose chance differs by over 5 in 100"),
    ),
)

ADVICE_OVER_SENSITIVITY = FrameSchema(
    "advice_over_sensitivity",
    "one sensitivity of a bench test and one action: how many sensors it would be advised for",
    (
        Column("sensitivity", "number", "share of defects that a test finds, 0 to 1"),
        Column("quantile", "number", "its place in what is believed of it, 0 to 1"),
        Column("action", "text", "replace, test, leave or not_enough_known"),
        Column("sensor_count", "whole", "sensors in service for which it would be advised"),
        Column("changed_count", "whole", "of these, with another advice now"),
    ),
)

TRACE = FrameSchema(
    "trace",
    "one sample drawn of the session's sweep (min-max decimated: every extreme is kept)",
    (
        Column("sample_no", "whole", "place in the sweep"),
        Column("t_s", "number", "time", "s"),
        Column("signal", "number", "reading", "V, ohm or %"),
        Column("signal_b", "number", "second track", "V, ohm or %", True),
        Column("travel_pct", "number", "travel by another channel", "% of travel", True),
    ),
)

__all__ = [
    "CHECKS",
    "EXPLANATION",
    "FLEET_CURVE",
    "LIFE_QUANTILES",
    "RISK_AHEAD",
    "RISK_FIT",
    "TRAVEL_BANDS",
]
