"""Frames that go into and come out of the risk models.

Age is always the sensor's own: km run since it was fitted. Two events are kept apart everywhere:
a *defect* (the sensor enters a state that a sound bench test would find) and a *road failure*
(a defect lets the rider down).
"""

from dataclasses import dataclass

import pandas as pd

from models.frames import Column, FrameSchema


@dataclass(frozen=True)
class RecordSchema(FrameSchema):
    """A schema some of whose columns not every record has: absent ones are read as blank."""

    may_lack: tuple[str, ...] = ()

    def check(self, frame: pd.DataFrame) -> pd.DataFrame:
        """As in ``FrameSchema``, with a blank column for each of ``may_lack`` that is absent."""
        absent = {name: None for name in self.may_lack if name not in frame.columns}
        return super().check(frame.assign(**absent))


#: What else is known of a life that may bear on its wear.
RIDING = (
    Column("km_per_day", "number", "usual km a day of the bike", "km/d", True),
    Column("shop_id", "text", "shop that looks after the bike", "", True),
    Column(
        "earlier_repairs",
        "whole",
        "repairs of plug, lead or other cause at this sensor before this life's entry",
        "",
        True,
    ),
)

#: When a life ran its km, for the season; blank where not known.
_ENTERED_ON = Column("entry_on", "date", "day on which it stood at entry_km", "", True)
_GOOD_ON = Column("good_on", "date", "day on which it stood at good_km", "", True)
_END = (
    Column(
        "end_km",
        "number",
        "age at its last dated record: the finding, else the last test or odometer reading",
        "km",
        True,
    ),
    Column("end_on", "date", "day of that record", "", True),
)

LIFE_WINDOWS = RecordSchema(
    "life_windows",
    "one observed life of one sensor (a cleaning with a confirmed fault ends one life and begins "
    "the next, repaired, one)",
    (
        Column("life_id", "text", "sensor_id, with /2, /3 behind it after a cleaning"),
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike: the unit of resampling"),
        Column("part_no", "text", "part number"),
        Column("duty", "text", "the bike's duty; blank where not known", blank=True),
        Column("repaired", "flag", "this life began with a cleaning"),
        Column("age_known", "flag", "age is counted from fitting; otherwise from first sight"),
        Column("entry_km", "number", "age when observation began (left truncation)", "km"),
        Column(
            "good_km", "number", "age at the last test without the defect, at least entry_km", "km"
        ),
        Column(
            "bad_km",
            "number",
            "age at the first test with it; blank where never found (right censored at good_km)",
            "km",
            True,
        ),
        Column("road_failure", "flag", "the defect let the rider down"),
        Column(
            "heard",
            "flag",
            "a complaint or a road failure led to the finding, not a test that was due anyway",
            blank=True,
        ),
        Column(
            "contact_km",
            "number",
            "age up to which nothing was heard of it: last odometer reading, test or removal; "
            "blank where a defect was found or nothing is known",
            "km",
            True,
        ),
        Column(
            "doubt_km",
            "number",
            "age at the first test since the last good one that pointed to a defect which no "
            "repair has confirmed or denied; contact_km does not go beyond it",
            "km",
            True,
        ),
        Column(
            "doubt_sign",
            "text",
            "what that test showed: worn_band, fail, suspect, dropouts_seen",
            "",
            True,
        ),
        Column("doubt_heard", "flag", "a complaint or a road failure led to that test", "", True),
        Column(
            "idle_complaints",
            "whole",
            "tests after a complaint that found the sensor without the defect",
            blank=True,
        ),
        *RIDING,
        _ENTERED_ON,
        _GOOD_ON,
        *_END,
    ),
    may_lack=(
        *("entry_on", "good_on", "end_km", "end_on"),
        *("heard", "contact_km", "doubt_km", "doubt_sign", "doubt_heard", "idle_complaints"),
        *(column.name for column in RIDING),
    ),
)

SENSORS_NOW = RecordSchema(
    "sensors_now",
    "one sensor in service",
    (
        Column("life_id", "text", "its present life"),
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("part_no", "text", "part number"),
        Column("duty", "text", "the bike's duty", blank=True),
        Column("repaired", "flag", "present life began with a cleaning"),
        Column("age_known", "flag", "age is counted from fitting; otherwise from first sight"),
        Column("entry_km", "number", "age when observation began", "km"),
        Column(
            "age_now_km",
            "number",
            "age today, from the odometer as estimated for today; "
            "blank where the bike has no reading",
            "km",
            True,
        ),
        Column(
            "good_km",
            "number",
            "age at the last test without the defect; blank if none",
            "km",
            True,
        ),
        Column(
            "last_verdict",
            "text",
            "verdict of the last test: pass, suspect, fail or blank",
            blank=True,
        ),
        Column(
            "last_conclusion", "text", "what the last sweep showed (see sweep measures)", blank=True
        ),
        Column(
            "contact_km",
            "number",
            "age up to which nothing was heard of it: last odometer reading or repair, today in a "
            "fleet; blank where not known",
            "km",
            True,
        ),
        Column("last_test_km", "number", "age at its last test, whatever it showed", "km", True),
        Column(
            "last_band",
            "flag",
            "the last sweep by itself shows a worn band, 9 in 10 sure",
            "",
            True,
        ),
        *RIDING,
        _ENTERED_ON,
        _GOOD_ON,
        Column("now_on", "date", "today, the day of age_now_km", "", True),
    ),
    may_lack=(
        *("contact_km", "last_test_km", "last_band", "entry_on", "good_on", "now_on"),
        *(column.name for column in RIDING),
    ),
)

WEAR_READINGS = RecordSchema(
    "wear_readings",
    "one test of one life, up to the finding of its defect if there is one: what it measured",
    (
        Column("life_id", "text", "the life"),
        Column("read_km", "number", "age at the test", "km"),
        Column(
            "roughness_pct",
            "number",
            "grain beyond the noise; blank without a sweep that can tell",
            "% of applied",
            True,
        ),
        Column("roughness_z", "number", "evidence of grain, standard deviations", "", True),
        Column(
            "checks_out_of_band",
            "whole",
            "static checks that point at the sensor itself and are out of their band",
        ),
        Column("passed", "flag", "the test found the sensor without the defect"),
        Column("prompted", "flag", "a complaint led to the test", blank=True),
    ),
    may_lack=("prompted",),
)

DEFECT_RISK = FrameSchema(
    "defect_risk",
    "one sensor in service: chance of a defect, 0 to 1, with a 90 % interval",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("defect_now", "number", "chance that it is in the defect state now", "", True),
        Column("defect_now_low", "number", "lower end", "", True),
        Column("defect_now_high", "number", "upper end", "", True),
        Column(
            "defect_1000_km", "number", "chance that it is, or enters it within 1,000 km", "", True
        ),
        Column("defect_1000_km_low", "number", "lower end", "", True),
        Column("defect_1000_km_high", "number", "upper end", "", True),
        Column("defect_5000_km", "number", "the same within 5,000 km", "", True),
        Column("defect_5000_km_low", "number", "lower end", "", True),
        Column("defect_5000_km_high", "number", "upper end", "", True),
        Column("defect_10000_km", "number", "the same within 10,000 km", "", True),
        Column("defect_10000_km_low", "number", "lower end", "", True),
        Column("defect_10000_km_high", "number", "upper end", "", True),
        Column(
            "defect_now_if_silent",
            "number",
            "the first of these, were a defect never heard of before a test finds it",
            "",
            True,
        ),
        Column(
            "defect_now_if_all_heard",
            "number",
            "the first of these, were every bike still in view, so that a defect would have been "
            "heard of to this day",
            "",
            True,
        ),
        Column("basis", "text", "one sentence: what the number rests on, with counts"),
    ),
)

FLEET_CURVE = FrameSchema(
    "fleet_curve",
    "one age of one group (part number, or all): share without a defect so far",
    (
        Column("part_no", "text", "part number, or 'all'"),
        Column("age_km", "number", "age", "km"),
        Column("survival", "number", "share of sensors without a defect by this age", ""),
        Column("survival_low", "number", "lower end, 90 %", "", True),
        Column("survival_high", "number", "upper end, 90 %", "", True),
        Column("sensor_count", "whole", "sensor lives under observation at this age"),
        Column("defect_count", "whole", "defects of the group in all"),
    ),
)

FOLLOWED_UP = FrameSchema(
    "followed_up",
    "one sign in a test: how often it was followed up and proved to be a defect of the sensor",
    (
        Column("sign", "text", "worn_band (beside any other), fail, suspect, or dropouts_seen"),
        Column("followed_up", "whole", "tests with the sign whose repair said yes or no"),
        Column("confirmed", "whole", "of these, fault confirmed in the sensor itself"),
    ),
)

CONTACT_GAPS = FrameSchema(
    "contact_gaps",
    "one gap between two odometer readings of a bike outside a fleet, the one up to today too",
    (
        Column("unit_id", "text", "the bike"),
        Column("gap_days", "number", "days from one reading to the next, or to today", "d"),
        Column("open", "flag", "no reading has followed yet"),
    ),
)

EXPLANATION = FrameSchema(
    "explanation",
    "one factor of one sensor's chance of a defect; over a sensor, ``change`` adds up to it",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("factor", "text", "middle (where it starts from), or what moves it from there"),
        Column("change", "number", "change in the chance, -1 to 1; for middle the chance itself"),
        Column("words", "text", "the factor in words, with its numbers"),
    ),
)

RISK_FIT = FrameSchema(
    "risk_fit",
    "the fit that all sensors were scored with",
    (
        Column("fit_version", "text", "its day and the beginning of its records' digest"),
        Column("fitted_as_of", "date", "day of the records it was made from"),
        Column("n_lives", "whole", "sensor lives it rests on"),
        Column("n_defects", "whole", "defects among them"),
        Column("n_tests", "whole", "tests with readings it rests on"),
        Column("why_fitted", "text", "why it was made at this build; blank if it stood", "", True),
        Column("defects_since", "whole", "defects new, changed or taken back since"),
        Column("km_since", "number", "km followed, new, changed or taken back since", "km"),
    ),
)
