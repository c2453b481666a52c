import numpy as np
import pandas as pd
import pytest

from models.frames import FrameError
from models.wear.records import WearError, placed_records, roughness_of, wear_records
from models.wear.schemas import WEAR_BINS, WEAR_TESTS


def inputs():
    tests = pd.DataFrame(
        {
            "session_id": ["A", "B"],
            "sensor_id": ["S1", "S2"],
            "life_id": ["S1", "S2"],
            "unit_id": ["U1", "U2"],
            "part_no": ["P", "P"],
            "duty": ["commute", None],
            "odometer_km": [1000.0, 2000.0],
            "sensor_age_km": [1000.0, 500.0],
            "speed_pct_per_s": [30.0, None],
            "fault_nature": ["worn_track", "none"],
        }
    )
    bins = pd.DataFrame(
        {
            "session_id": ["A"] * 50 + ["B"] * 20,
            "bin_from_pct": list(np.arange(50) * 2.0) + list(np.arange(20) * 2.0),
            "pass_count": [4] * 70,
            "dropout_count": [0] * 10 + [3] + [0] * 59,
            "smoothness_pct": [0.1] * 49 + [None] + [0.2] * 20,
            "shortest_visible_ms": [1.0] * 70,
        }
    )
    return tests, bins


def test_rows_are_laid_out_by_session_and_bin():
    tests, bins = inputs()
    records = wear_records(tests, bins.sample(frac=1.0, random_state=1))
    assert records.counts[0, 10] == 3.0
    assert records.counts.sum() == 3.0
    assert records.exposure[0].tolist() == [4.0] * 50
    assert records.roughness[0, 5] == pytest.approx(1.0)
    assert np.isnan(records.roughness[0, 49])


def test_parts_are_laid_out_as_all_at_once():
    tests, bins = inputs()
    whole = wear_records(tests, bins)
    mixed = placed(bins).sample(frac=1.0, random_state=2)
    parts = placed_records(tests, [mixed[:20], mixed[20:21], mixed[21:]])
    assert parts.tests.equals(whole.tests)
    for name in ("counts", "exposure", "roughness"):
        assert np.array_equal(getattr(parts, name), getattr(whole, name), equal_nan=True)


def test_a_bin_that_an_earlier_part_held_is_named():
    tests, bins = inputs()
    parts = [placed(bins)[:60], placed(bins)[55:]]
    with pytest.raises(WearError, match="session B has bin 10 twice"):
        placed_records(tests, parts)


def placed(bins: pd.DataFrame) -> pd.DataFrame:
    return bins.assign(test_no=bins["session_id"].map({"A": 0, "B": 1}))


def test_an_unseen_bin_has_no_exposure():
    records = wear_records(*inputs())
    assert (records.exposure[1, 20:] == 0.0).all()
    assert (records.exposure[1, :20] > 0.0).all()


def test_drop_outs_that_wander_with_the_lead_say_nothing():
    tests, bins = inputs()
    records = wear_records(tests.assign(fault_nature=["wandering", "none"]), bins)
    assert records.counts[0].sum() == 0.0
    assert records.exposure[0].sum() == 0.0


def test_too_few_readable_bins_leave_roughness_unknown():
    few = np.full((2, 50), np.nan)
    few[0, :20], few[1, :5] = 0.1, 0.1
    rough = roughness_of(few)
    assert np.isfinite(rough[0, :20]).all()
    assert np.isnan(rough[1]).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda t, b: (pd.concat([t, t[:1]]), b), "session A comes twice"),
        (lambda t, b: (t[1:], b), "no test A"),
        (
            lambda t, b: (t, b.assign(bin_from_pct=b["bin_from_pct"] + 1.0)),
            "bin_from_pct 1, expected",
        ),
        (lambda t, b: (t, pd.concat([b, b[3:4]])), "session A has bin 6 twice"),
    ],
)
def test_impossible_records_are_named(change, message):
    with pytest.raises(WearError, match=message):
        wear_records(*change(*inputs()))


def test_a_missing_column_is_named():
    tests, bins = inputs()
    with pytest.raises(FrameError, match="wear_bins: no column pass_count"):
        wear_records(tests, bins.drop(columns="pass_count"))


def test_no_rows_make_no_records():
    assert len(wear_records(WEAR_TESTS.empty(), WEAR_BINS.empty())) == 0
