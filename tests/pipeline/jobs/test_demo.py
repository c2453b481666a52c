"""What the pipeline recovers of the demo's truth.

The truth (seed_data/truth) comes from the simulation that made the demo; the tool never reads it.
"""

from pathlib import Path

import pandas as pd
import pytest

from models.statics.checks import check_readings
from models.statics.schemas import BANDS, READINGS
from pipeline.environment import CHECKOUT
from pipeline.home import HomeError
from pipeline.jobs.demo import AS_OF, ensure_demo
from pipeline.jobs.ingest import ingest
from pipeline.statements import connect

TRUTH = Path(CHECKOUT) / "seed_data" / "truth"


def _truth(name: str) -> pd.DataFrame:
    return pd.read_csv(TRUTH / f"{name}.csv")


@pytest.fixture(scope="module")
def demo(built_demo):
    home = built_demo
    connection = connect(ensure_demo(home).path, read_only=True)
    yield home, lambda sql: connection.execute(sql).df()
    connection.close()


@pytest.mark.long
def test_the_demo_is_built_once_and_looked_at_from_its_own_day(demo):
    home, _ = demo
    again = ensure_demo(home)
    assert again.version == 1
    assert again.as_of == AS_OF.isoformat()


def test_a_shop_s_own_files_do_not_go_into_the_demo(demo, tmp_path):
    home, _ = demo
    with pytest.raises(HomeError, match="never mix"):
        ingest(home.prepare(), [tmp_path])


def test_each_planted_mistake_meets_its_fate(demo):
    _, ask = demo
    listed = ask("select table_name, row_key, column_name from intake.set_aside")
    places = set(listed.itertuples(index=False, name=None))
    rows = set(listed[["table_name", "row_key"]].itertuples(index=False, name=None))
    for mistake in _truth("mistakes").itertuples():
        place = (mistake.table, mistake.key, mistake.column)
        if mistake.expected in ("accepted", "retracted"):  # no file check can see the first
            assert place not in places, mistake
        else:
            assert place in places or (mistake.table, mistake.key) in rows, mistake


def test_readings_swapped_or_in_the_wrong_unit_are_asked_about(demo):
    _, ask = demo
    slips = _truth("mistakes").query("table == 'test_sessions' and expected == 'accepted'")
    assert len(slips) >= 3
    readings = READINGS.check(ask("from marts.static_readings"))
    slipped = readings[readings["session_id"].isin(slips["key"])]
    checks = check_readings(slipped, BANDS.check(ask("from marts.bands")))
    asked = checks.loc[checks["points_to"].eq("reading"), "session_id"]
    assert set(slips["key"]) <= set(asked)


def test_every_row_handed_in_is_accounted_for(demo):
    _, ask = demo
    accounts = ask("from intake.accounting")
    assert (accounts["handed_in"] == accounts["accepted"] + accounts["set_aside"]).all()
    counted = sum(
        len(pd.read_csv(path)) for path in (Path(CHECKOUT) / "seed_data" / "shops").glob("*.csv")
    )
    csv = accounts[accounts["file_name"].str.endswith(".csv")]
    assert csv["handed_in"].sum() == counted


def _volt_sweeps(ask) -> pd.DataFrame:
    """Measured volt sweeps at 200 Hz or more, with what was really so."""
    measured = ask("from marts.sweep_measures").merge(_truth("sweeps"), on="session_id")
    sessions = _truth("sessions")[["session_id", "defective", "lead_fault"]]
    measured = measured.merge(sessions, on="session_id")
    return measured[measured["channel"].eq("volt") & (measured["rate_hz_y"] >= 190)]


def test_sweeps_without_a_visible_drop_out_are_not_flagged(demo):
    _, ask = demo
    sweeps = _volt_sweeps(ask)
    clean = sweeps[sweeps["dropouts"].eq(0)]
    assert len(clean) > 300
    assert (clean["conclusion"] == "dropouts_seen").sum() <= len(clean) // 200


def test_sweeps_with_visible_drop_outs_are_found(demo):
    _, ask = demo
    sweeps = _volt_sweeps(ask)
    faulty = sweeps[sweeps["visible_dropouts"] >= 1]
    assert len(faulty) > 80
    assert (faulty["conclusion"] == "dropouts_seen").mean() >= 0.97


def test_drop_outs_are_found_at_their_time_and_place(demo):
    _, ask = demo
    found = ask("from marts.sweep_dropouts").sort_values("start_s")
    visible = _truth("dropouts").query("visible").sort_values("start_s")
    swept = set(_volt_sweeps(ask)["session_id"])
    visible = visible[visible["session_id"].isin(swept)]
    pairs = pd.merge_asof(
        visible, found, on="start_s", by="session_id", direction="nearest", tolerance=0.04,
        suffixes=("_true", ""),
    )  # fmt: skip
    seen = pairs["dropout_no"].notna()
    assert seen.mean() >= 0.95
    error = (pairs.loc[seen, "travel_pct"] - pairs.loc[seen, "travel_pct_true"]).abs()
    assert error.median() <= 1.0


def test_a_slow_log_never_yields_that_nothing_was_seen(demo):
    _, ask = demo
    slow = ask("from marts.sweep_measures").merge(_truth("sweeps"), on="session_id")
    slow = slow[slow["channel"].eq("percent") | (slow["rate_hz_y"] <= 10)]
    assert len(slow) > 20
    assert "nothing_seen" not in set(slow["conclusion"])


def test_risk_is_higher_where_the_sensor_is_truly_defective(demo):
    _, ask = demo
    now = ask("select sensor_id, defect_now from marts.worklist where defect_now is not null")
    lives = _truth("spells").sort_values("spell_no").groupby("sensor_id").last()
    now = now.join(lives["defective_at_end"], on="sensor_id")
    by_truth = now.groupby("defective_at_end")["defect_now"].mean()
    assert by_truth[True] > 2 * by_truth[False]
    # what is expected in all lies near what is so: within three standard deviations
    spread = (now["defect_now"] * (1 - now["defect_now"])).sum() ** 0.5
    assert abs(now["defect_now"].sum() - now["defective_at_end"].sum()) <= 3 * spread


def test_no_defective_sensor_that_was_found_so_is_left(demo):
    _, ask = demo
    worklist = ask("select sensor_id, action, last_verdict, last_conclusion from marts.worklist")
    found = worklist["last_verdict"].eq("fail") | worklist["last_conclusion"].eq("dropouts_seen")
    cleared = ask("select sensor_id from marts.evidence where repaired_since_test is not null")[
        "sensor_id"
    ]
    left = worklist[found & worklist["action"].eq("leave") & ~worklist["sensor_id"].isin(cleared)]
    assert left.empty


def test_the_demo_shows_each_kind_of_answer(demo):
    _, ask = demo
    actions = ask("select action, count(*) as n from marts.worklist group by action")
    assert set(actions["action"]) == {"replace", "test", "leave", "not_enough_known"}


def test_the_chances_looked_back_on_beat_age_alone(demo):
    _, ask = demo
    skill = ask("from marts.backtest_skill").set_index("name")
    assert not skill["too_few"].any()
    assert skill.loc["ours", "log_loss"] < skill.loc["mileage only", "log_loss"]
    assert skill.loc["ours", "top_tenth_share"] > skill.loc["oldest first", "top_tenth_share"]
    # what is expected in all lies near what came to light: within three standard deviations
    whole = ask("from marts.backtest_calibration where \"by\" = 'all'").iloc[0]
    assert abs(whole["found"] - whole["expected"]) <= 3 * whole["sd"]


def test_each_defect_looked_back_on_counts_once(demo):
    _, ask = demo
    counted = ask(
        "select sensor_id, count(*) as n from marts.backtest_scores where found group by all"
    ).set_index("sensor_id")["n"]
    lives = ask(
        "select sensor_id, count(*) as n from marts.life_windows where found_on is not null "
        "group by all"
    ).set_index("sensor_id")["n"]
    assert (counted <= lives.reindex(counted.index)).all()


def test_were_bench_tests_worse_no_fewer_sensors_would_be_tested_or_replaced(demo):
    _, ask = demo
    called = ask(
        "select sensitivity, sum(sensor_count) as n from marts.advice_over_sensitivity "
        "where action in ('test', 'replace') group by all order by sensitivity"
    )
    assert len(called) == 3
    assert called["n"].is_monotonic_decreasing


def _worn_bands(ask) -> pd.DataFrame:
    """Each mapped life's likeliest band after its last test, with where its track is worn."""
    found = ask(
        """
        select spans.sensor_id, bands.*, tests.odometer_km
        from marts.wear_bands as bands
        join marts.sensor_spans as spans using (life_id)
        join marts.tests as tests using (session_id)
        where bands.band_no = 1
        qualify row_number() over (
            partition by life_id order by bands.sensor_age_km desc, session_id desc
        ) = 1
        """
    )
    both = found.merge(_truth("spells"), on="sensor_id")
    own = both["odometer_km"].between(both["start_km"], both["end_km"])
    both = both[own].sort_values("spell_no").drop_duplicates("life_id", keep="last")
    return both.assign(error_pct=(both["peak_pct"] - both["worn_centre_pct"]).abs())


def test_worn_bands_lie_where_the_tracks_are_worn(demo):
    _, ask = demo
    bands = _worn_bands(ask)
    defective = bands[bands["defect_onset_km"] <= bands["odometer_km"]]
    shown = defective[defective["confidence"] >= 0.5]
    assert len(shown) >= 0.85 * len(defective) > 50
    assert shown["error_pct"].median() <= 1.5
    assert shown["error_pct"].quantile(0.9) <= 4.0
    sound = bands[bands["defect_onset_km"] > bands["odometer_km"]]
    assert (sound["confidence"] >= 0.5).mean() <= 0.08


def test_wear_gathers_where_training_holds_the_throttle_and_is_not_forced_on_others(demo):
    _, ask = demo
    gathered = ask("from marts.wear_gathered").set_index(["part_no", "duty"])
    training = gathered.loc[("all", "training")]
    worn = _truth("spells").merge(_truth("bikes"), on="unit_id").query("duty == 'training'")
    assert training["answer"] == "concentrated"
    low, high = worn["worn_centre_pct"].quantile([0.25, 0.75])
    assert training["from_pct"] <= low < high <= training["to_pct"] <= 30.0
    few = gathered[gathered["n_sensors"] < 8]
    assert (few["answer"] == "not enough known").all()
