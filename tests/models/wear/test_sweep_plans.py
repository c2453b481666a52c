import pytest

from models.wear.schemas import DROPOUT_PLACES, PASS_REACH, SWEEP_PLANS
from models.wear.sweep_plans import sweep_plans
from models.wear.test_plan import lift_chance

LIFT = lift_chance(DROPOUT_PLACES.empty(), PASS_REACH.empty())


def plans(case, rate_hz=200.0):
    return sweep_plans(case.records, case.bands, case.pooled, case.found, LIFT, rate_hz)


def test_known_bands_are_swept_where_they_are(followed):
    out = SWEEP_PLANS.check(plans(followed))
    assert set(out["life_id"]) == set(followed.records.tests["life_id"])
    first = out[out["stretch_no"] == 1].set_index("life_id")
    strongest = followed.found[followed.found["band_no"] == 1]
    sure = strongest.drop_duplicates("life_id", keep="last").set_index("life_id")
    sure = sure[sure["confidence"] > 0.95]
    own = first.loc[sure.index]
    inside = (own["from_pct"] - 1 <= sure["peak_pct"]) & (sure["peak_pct"] <= own["to_pct"] + 1)
    assert inside.mean() > 0.9
    assert (own["to_pct"] - own["from_pct"]).median() < 12.0


def test_sound_sensors_are_swept_where_their_like_wear(sound):
    out = plans(sound)
    assert (out.groupby("life_id")["wear_share"].sum() > 0.3).all()
    assert out["width_pct"].mode().iloc[0] == pytest.approx(1.2)


def test_a_logger_that_cannot_says_so(followed):
    out = plans(followed, rate_hz=0.05)
    assert set(out["answer"]) == {"cannot be reached with this logger"}
    assert out["passes"].isna().all()
    fine = plans(followed, rate_hz=1000.0)
    assert fine["passes"].notna().all()
    assert (fine["reached"] >= 0.95).all()
