import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.frames import FrameError
from models.statics.bands import learn_bands
from models.statics.checks import check_outcomes, check_readings
from models.statics.schemas import BANDS, CHECKS, READINGS

WHOLE = {
    "supply_v": 5.01,
    "supply_to_ground_v": 4.99,
    "track_ohm": 4600.0,
    "closed_ohm": 920.0,
    "open_ohm": 3680.0,
    "closed_v": 0.60,
    "open_v": 4.40,
    "closed_pct": 0.2,
    "open_pct": 99.8,
    "corrosion": "none",
    "wiggle_test": "steady",
    "fault_codes": None,
    "unplugged_key_on": "no",
}
MIDDLES = {
    "track_ohm": 4600.0,
    "closed_ohm": 920.0,
    "open_ohm": 3680.0,
    "closed_v": 0.60,
    "open_v": 4.40,
    "closed_ratio": 0.12,
    "open_ratio": 0.88,
    "closed_ohm_ratio": 0.20,
    "open_ohm_ratio": 0.80,
}


@pytest.fixture(scope="module")
def bands():
    """Ranges of P1 about `MIDDLES`, learned from 30 sensors with 3 % spread."""
    spread = np.random.default_rng(11).normal(1.0, 0.03, 30)
    good = [
        pd.DataFrame(
            {
                "part_no": "P1",
                "sensor_id": [f"g{number}" for number in range(30)],
                "reading": reading,
                "value": middle * spread,
            }
        )
        for reading, middle in MIDDLES.items()
    ]
    return learn_bands(pd.concat(good))


@pytest.fixture
def check(bench_tests, bands):
    """Checks of one bench test, indexed by check."""

    def of(known_bands=bands, **changed):
        rows = check_readings(bench_tests(WHOLE | changed), known_bands)
        return rows.set_index("check")

    return of


def test_the_order_of_reasoning(check):
    checks = check()
    assert checks.index.tolist() == [
        "supply",
        "ground",
        "connector_corrosion",
        "wiggle_test",
        "fault_codes",
        "closed_v",
        "open_v",
        "closed_ratio",
        "open_ratio",
        "track_ohm",
        "closed_ohm",
        "open_ohm",
        "closed_ohm_ratio",
        "open_ohm_ratio",
        "closed_pct",
        "open_pct",
    ]
    assert checks["step"].tolist() == list(range(1, 17))


def test_readings_in_range_point_nowhere(check):
    checks = check().drop("fault_codes")
    assert (checks["state"] == "in_band").all()
    assert (checks["points_to"].fillna("") == "").all()


def test_every_sentence_names_value_unit_and_source(check):
    text = check().loc["closed_v", "text"]
    assert text.startswith("Closed signal 0.600 V, inside ")
    assert text.endswith("(learned from 30 good sensors).")
    assert "normal curve assumed" in check().loc["closed_v", "band_source"]


@pytest.mark.parametrize(
    ("changed", "name", "points_to", "words"),
    [
        ({"supply_v": 4.56, "supply_to_ground_v": 4.54}, "supply", "supply", "below 4.750 V"),
        ({"supply_v": 5.60, "supply_to_ground_v": 5.58}, "supply", "supply", "above 5.250 V"),
        ({"supply_to_ground_v": 4.60}, "ground", "ground", "0.410 V, above 0.100 V"),
        ({"corrosion": "heavy"}, "connector_corrosion", "connector", "Heavy corrosion"),
        ({"wiggle_test": "jumps"}, "wiggle_test", "wiring", "jumps"),
        ({"track_ohm": 6900.0}, "track_ohm", "sensor", "6,900 ohm, above"),
        ({"closed_v": 1.2}, "closed_v", "sensor", "1.200 V, above"),
        ({"closed_v": 1.2}, "closed_ratio", "sensor", "above"),
        ({"closed_pct": 9.0}, "closed_pct", "control_unit", "relearning"),
        ({"open_pct": 80.0}, "open_pct", "control_unit", "below 95.0 %"),
        ({"closed_pct": 9.0, "closed_v": 1.2}, "closed_pct", "sensor", "above 3.0 %"),
    ],
)
def test_what_lies_outside_points_where_a_technician_looks(check, changed, name, points_to, words):
    row = check(**changed).loc[name]
    assert (row["state"], row["points_to"]) == ("out_of_band", points_to)
    assert words in row["text"]


def test_a_signal_out_of_band_under_a_bad_supply_speaks_of_the_supply(check):
    checks = check(supply_v=4.0, supply_to_ground_v=3.98, closed_v=0.48)
    assert checks.loc["closed_v", "points_to"] == "supply"
    assert "put the supply right" in checks.loc["closed_v", "text"]
    # The ratio is what the supply cannot explain away.
    assert checks.loc["closed_ratio", "state"] == "in_band"


def test_light_corrosion_is_noted_and_blames_nothing(check):
    row = check(corrosion="light").loc["connector_corrosion"]
    assert row["state"] == "in_band"
    assert "clean them" in row["text"]


def test_the_supply_band_follows_the_nominal_supply(check):
    assert check(supply_nominal_v=3.3, supply_v=3.3).loc["supply", "state"] == "in_band"
    row = check(supply_nominal_v=3.3, supply_v=5.0).loc["supply"]
    assert row["state"] == "out_of_band"
    assert row["high"] == pytest.approx(5.25 * 3.3 / 5)


def test_an_unread_reading_is_not_read(check):
    blank = check(**dict.fromkeys(WHOLE))
    assert (blank["state"] == "not_read").all()
    assert (blank["points_to"].fillna("") == "").all()
    assert {"supply", "ground", "track_ohm", "closed_v", "closed_pct"} <= set(blank.index)


def test_too_few_good_sensors_give_no_judgement(check):
    few = BANDS.check(
        pd.DataFrame(
            [
                {
                    "part_no": "P1",
                    "reading": "track_ohm",
                    "source": "learned",
                    "method": "no range: 3 good sensors known, at least 5 needed",
                    "sensor_count": 3,
                }
            ]
        ).reindex(columns=BANDS.names)
    )
    checks = check(few)
    assert checks.loc["track_ohm", "state"] == "no_band"
    assert "at least 5 needed" in checks.loc["track_ohm", "text"]
    assert "no good range for this part number yet" in checks.loc["open_ohm", "text"]
    assert checks.loc["closed_pct", "state"] == "in_band"


def test_contactless_parts_have_no_resistance_checks(check):
    checks = check(kind="contactless")
    assert not {"track_ohm", "closed_ohm", "open_ohm", "closed_ohm_ratio"} & set(checks.index)
    assert "contactless" in checks.loc["resistance", "text"]
    assert checks.loc["closed_v", "state"] == "in_band"


def test_makers_limits_rule(check):
    row = check(maker_closed_v_low=0.7, maker_closed_v_high=0.8).loc["closed_v"]
    assert row["state"] == "out_of_band"
    assert (row["low"], row["high"]) == (0.7, 0.8)
    assert "the maker's limits" in row["text"]


@pytest.mark.parametrize(
    ("changed", "names"),
    [
        ({"supply_v": 503.0}, ["supply", "ground"]),
        ({"closed_v": 600.0}, ["closed_v"]),
        ({"track_ohm": 4.6}, ["track_ohm"]),
        ({"closed_v": 4.4, "open_v": 0.6}, ["closed_v", "open_v"]),
        ({"closed_ohm": 3680.0, "open_ohm": 920.0}, ["closed_ohm", "open_ohm"]),
        ({"supply_v": 4.8, "supply_to_ground_v": 5.0}, ["ground"]),
        ({"closed_pct": 99.8, "open_pct": 0.2}, ["closed_pct", "open_pct"]),
        ({"fault_codes": "P012O"}, ["fault_codes"]),
        ({"track_ohm": np.inf}, ["track_ohm"]),
    ],
)
def test_a_miswritten_reading_is_asked_about_and_never_in_band(check, changed, names):
    checks = check(**changed)
    for name in names:
        row = checks.loc[name]
        assert row["points_to"] == "reading"
        assert row["state"] != "in_band"
        assert row["text"].endswith("?")
    assert not checks["points_to"].isin(["sensor", "supply", "ground"]).any()


def test_a_ratio_of_a_doubtful_reading_is_not_worked_out(check):
    checks = check(supply_v=503.0)
    assert "closed_ratio" not in checks.index


def test_one_row_a_fault_code(check):
    checks = check(fault_codes="P0122 P0121 P0300", unplugged_key_on="yes").loc[["fault_codes"]]
    assert checks["value_text"].tolist() == ["P0122", "P0121", "P0300"]
    assert checks["state"].tolist() == ["no_band", "out_of_band", "no_band"]
    assert checks["step"].tolist() == [5, 6, 7]


def test_an_unanswered_unplugging_cannot_be_told(check):
    row = check(fault_codes="P0122", unplugged_key_on=None).loc["fault_codes"]
    assert row["state"] == "no_band"
    assert "not recorded" in row["text"]


def test_sessions_stay_apart_and_in_order(bench_tests, bands):
    rows = check_readings(bench_tests(WHOLE, WHOLE | {"supply_v": 4.5}, {}), bands)
    assert rows["session_id"].drop_duplicates().tolist() == ["t0", "t1", "t2"]
    assert not rows.duplicated(["session_id", "step"]).any()
    alone = check_readings(bench_tests(WHOLE), bands)
    together = rows[rows["session_id"] == "t0"].reset_index(drop=True)
    pd.testing.assert_frame_equal(alone, together)


def test_no_sessions_no_checks():
    assert check_readings(READINGS.empty(), BANDS.empty()).empty


def test_a_missing_column_is_named(bench_tests):
    with pytest.raises(FrameError, match="no column supply_v"):
        check_readings(bench_tests({}).drop(columns="supply_v"), BANDS.empty())


_NUMBERS = st.one_of(
    st.none(), st.floats(allow_nan=True, allow_infinity=True), st.floats(-10, 6000)
)
_SESSIONS = st.fixed_dictionaries(
    {name: _NUMBERS for name, value in WHOLE.items() if isinstance(value, float)}
    | {
        "corrosion": st.sampled_from([None, "none", "light", "heavy"]),
        "wiggle_test": st.sampled_from([None, "steady", "jumps"]),
        "kind": st.sampled_from([None, "potentiometer", "contactless"]),
        "output": st.sampled_from([None, "rising", "falling"]),
        "fault_codes": st.one_of(st.none(), st.text("P0123 ,-x", max_size=14)),
        "unplugged_key_on": st.sampled_from([None, "yes", "no"]),
    }
)


@given(sessions=st.lists(_SESSIONS, min_size=1, max_size=4))
@settings(max_examples=15)
def test_any_reading_gets_a_named_answer(bench_tests, bands, sessions):
    rows = check_readings(bench_tests(*sessions), bands)
    assert CHECKS.check(rows) is not None
    assert set(rows["state"]) <= {"in_band", "out_of_band", "no_band", "not_read"}
    inside = rows[(rows["state"] == "in_band") & rows["value"].notna()]
    assert not (inside["value"] < inside["low"]).any()
    assert not (inside["value"] > inside["high"]).any()
    assert (rows["text"].str.len() > 10).all()
    assert not rows["text"].str.contains("nan").any()
    assert not rows[rows["points_to"] == "reading"]["state"].eq("in_band").any()


@given(sessions=st.lists(_SESSIONS, min_size=1, max_size=4))
@settings(max_examples=15)
def test_outcomes_are_what_the_checks_come_down_to(bench_tests, bands, sessions):
    sessions = [
        *sessions,
        {"corrosion": "heavy", "wiggle_test": "jumps"},
        WHOLE | {"closed_v": 1.9},
    ]
    tests = bench_tests(*sessions)
    rows = check_readings(tests, bands)
    found = check_outcomes(tests, bands).set_index("session_id")
    assert found.index.tolist() == tests["session_id"].tolist()
    for session_id, outcome in found.iterrows():
        out = rows[rows["session_id"].eq(session_id) & rows["state"].eq("out_of_band")]
        assert outcome["checks_out_of_band"] == out["points_to"].eq("sensor").sum()
        outside = out[out["points_to"].isin(["supply", "ground", "connector", "wiring"])]
        said = outcome["elsewhere"] if pd.notna(outcome["elsewhere"]) else ""
        assert said.splitlines() == outside["text"].tolist()
    corroded, worn = found.iloc[-2], found.iloc[-1]
    assert len(corroded["elsewhere"].splitlines()) == 2
    assert worn["checks_out_of_band"] >= 1


def test_no_sessions_no_outcomes():
    assert check_outcomes(READINGS.empty(), BANDS.empty()).empty
