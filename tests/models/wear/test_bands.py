import numpy as np
import pandas as pd
import pytest

from models.wear.band_grid import LEVELS, TRAVEL_ERROR_PCT, WIDTHS_PCT, band_grid
from models.wear.bands import WornBands
from models.wear.records import WearRecords
from models.wear.schemas import BANDS
from models.wear.seen import Seen, in_life_order, place_prior, sights


def last_rows(case):
    order, last = in_life_order(case.records)
    return order[last]


def known_lives(case, tests=3):
    """Lives with enough informative tests: their strongest band, and the true middles."""
    informative = pd.Series(case.fleet.informative, index=case.records.tests["life_id"])
    enough = informative.groupby(level=0).sum() >= tests
    strongest = case.found[case.found["band_no"] == 1].drop_duplicates("life_id", keep="last")
    strongest = strongest.set_index("life_id")
    rows = last_rows(case)
    middles = pd.DataFrame(case.fleet.centres[rows], index=case.records.tests["life_id"].iloc[rows])
    lives = strongest.index[enough.reindex(strongest.index)]
    return strongest.loc[lives], middles.loc[lives].to_numpy()


def off(band, middles):
    return np.abs(band["peak_pct"].to_numpy()[:, None] - middles).min(axis=1)


def test_templates_share_out_one_band():
    grid = band_grid()
    assert grid.spread.sum(axis=1) == pytest.approx(np.ones(grid.size))
    assert grid.envelope.max() <= 1.0
    # mean and spread of a uniform stretch read with a normal error
    k = np.flatnonzero((grid.centre == 50.5) & (grid.width == 6.0))[0]
    at = np.arange(50) * 2 + 1.0
    mean = grid.spread[k] @ at
    assert mean == pytest.approx(50.5, abs=0.05)
    sd = np.sqrt(grid.spread[k] @ (at - mean) ** 2)
    assert sd == pytest.approx(np.sqrt(5.4**2 / 12 + TRAVEL_ERROR_PCT**2 + 4 / 12), rel=0.03)


def test_single_bands_are_found_where_they_are(followed):
    band, middles = known_lives(followed)
    assert len(band) > 40
    assert np.median(off(band, middles)) <= 1.5
    assert np.quantile(off(band, middles), 0.9) <= 4.0
    assert (band["confidence"] > 0.9).mean() > 0.95
    held = (band["peak_low_pct"] <= middles[:, 0]) & (middles[:, 0] <= band["peak_high_pct"])
    assert 0.75 < held.mean() <= 1.0


def test_two_bands_are_both_found(two_bands):
    band, middles = known_lives(two_bands)
    assert np.median(off(band, middles)) <= 1.5
    second = two_bands.found[two_bands.found["band_no"] == 2].drop_duplicates(
        "life_id", keep="last"
    )
    assert band.index.isin(second["life_id"]).mean() > 0.8


def test_a_moving_band_is_followed(moving):
    band, middles = known_lives(moving)
    assert np.median(off(band, middles)) <= 1.5
    assert np.quantile(off(band, middles), 0.9) <= 4.0


def test_sound_sensors_have_no_band(sound):
    assert (sound.found["confidence"] >= 0.5).mean() < 0.05
    assert sound.bands.worn_share_ < 0.15


def test_every_test_has_a_row_and_bands_lie_within_the_travel(followed):
    found = BANDS.check(followed.found)
    first = found[found["band_no"] == 1]
    assert sorted(first["session_id"]) == sorted(followed.records.tests["session_id"])
    assert (found["from_pct"] <= found["peak_pct"]).all()
    assert (found["peak_pct"] <= found["to_pct"]).all()
    assert found["confidence"].between(0, 1).all()


def test_a_later_test_does_not_change_what_was_known_before(followed):
    records = followed.records
    life = records.tests["life_id"].value_counts().index[0]
    own = np.flatnonzero((records.tests["life_id"] == life).to_numpy())
    whole = followed.bands.predict(records.take(own), followed.pooled[own])
    part = followed.bands.predict(records.take(own[:-1]), followed.pooled[own[:-1]])
    both = whole.merge(part, on=["session_id", "band_no"])
    assert len(both) >= len(own) - 1
    assert both["peak_pct_x"].to_numpy() == pytest.approx(both["peak_pct_y"].to_numpy())


def one_test(counts=None, rough=None, passes=6.0, nature="none"):
    tests = pd.DataFrame(
        {
            "session_id": ["A"],
            "sensor_id": ["S"],
            "life_id": ["S"],
            "sensor_age_km": [1.0],
            "fault_nature": [nature],
        }
    )
    counts = np.zeros((1, 50)) if counts is None else counts
    rough = np.full((1, 50), np.nan) if rough is None else rough
    return WearRecords(tests, counts, np.full((1, 50), passes), rough)


def plain():
    model = WornBands()
    model.stray_rate_, model.grain_, model.own_grain_, model.worn_share_ = 2e-4, 0.04, 0.5, 0.3
    model.drift_pct_, model.level_prior_ = 0.0, np.array([0.4, 0.1, 0.1, 0.15, 0.15, 0.1])
    model.rough_prior_ = np.array([0.3, 0.2, 0.2, 0.15, 0.1, 0.05])
    model.width_prior_ = np.full(len(WIDTHS_PCT), 0.25)
    return model


def test_a_band_at_a_stop_is_marked():
    counts = np.zeros((1, 50))
    counts[0, 0] = 8.0
    band = plain().predict(one_test(counts), np.ones((1, 50))).iloc[0]
    assert band["at_stop"]
    assert band["peak_pct"] < 3.0
    assert band["confidence"] > 0.95


def test_evidence_by_hand():
    """Odds of a band against none for one drop-out on a flat prior, summed up in full."""
    model, counts = plain(), np.zeros((1, 50))
    counts[0, 20] = 1.0
    seen = Seen(counts, np.full((1, 50), 6.0), np.zeros((1, 50)), np.zeros((1, 50)),
                place_prior(np.ones((1, 50))), np.zeros(1), counts, np.full((1, 50), 6.0))  # fmt: skip
    grid, total = band_grid(), 0.0
    nothing = model.level_prior_[0] * model.rough_prior_[0]
    for k in range(grid.size):
        each = 0.0
        for level, chance in zip(LEVELS, model.level_prior_, strict=True):
            ratio = 1 + level * grid.spread[k, 20] / 2e-4
            each += chance * ratio * np.exp(-6.0 * level * grid.spread[k].sum())
        total += (each - nothing) / (1 - nothing) / 100 * model.width_prior_[0]
    assert model.posterior(seen, 0.0).log_odds[0] == pytest.approx(np.log(total), abs=1e-3)


def test_without_evidence_the_prior_stays():
    model = plain()
    empty = one_test(passes=0.0)
    pooled = np.ones((1, 50))
    pooled[0, 15] = 40.0
    band = model.predict(empty, pooled).iloc[0]
    assert band["confidence"] == pytest.approx(0.3, abs=0.02)
    share = model.own_share(empty, pooled)
    assert share.sum() == pytest.approx(1.0)
    assert share[0].argmax() == 15


def test_clean_sweeps_lower_the_chance():
    model, pooled = plain(), np.ones((1, 50))
    chances = [
        model.predict(one_test(rough=np.ones((1, 50)), passes=p), pooled)["confidence"].iloc[0]
        for p in (0.5, 5.0, 50.0)
    ]
    assert chances[0] > chances[1] > chances[2]


def test_spots_count_once():
    counts = np.zeros((3, 50))
    counts[0, 5], counts[1, [5, 9]], counts[2, 0] = 30.0, 10.0, 0.0
    assert sights(counts) == pytest.approx([1.0, 2.0, 1.0])


def test_sights_take_nothing_from_its_like(followed):
    rows, share = followed.bands.sights(followed.records)
    assert share.sum(axis=1) == pytest.approx(np.ones(len(rows)), abs=1e-4)
    middles = followed.fleet.centres[rows, 0]
    apart = np.abs(share.argmax(axis=1) * 2 + 1.0 - middles)
    assert np.median(apart) < 2.0
    records = followed.records
    elsewhere = records.take(rows)
    again, alone = followed.bands.sights(elsewhere)
    assert len(again) <= len(rows)
    assert alone.shape[1] == 50


def test_sound_sensors_have_no_sights(sound):
    rows, share = sound.bands.sights(sound.records)
    assert len(rows) < 12
    assert share.shape == (len(rows), 50)


def test_drop_outs_that_may_be_a_lead_s_leave_the_question_open():
    counts, usual = np.zeros((1, 50)), np.ones((1, 50))
    counts[0, 20] = 8.0
    usual[0, 20] = 40.0
    chance = {
        (nature, place): plain().predict(one_test(counts, nature=nature), like)["confidence"][0]
        for nature in ("worn_track", "undecided")
        for place, like in (("anywhere", np.ones((1, 50))), ("where its like wear", usual))
    }
    assert chance["worn_track", "anywhere"] > 0.99
    assert 0.4 < chance["undecided", "anywhere"] < 0.8
    assert chance["undecided", "where its like wear"] > 0.9


def test_an_unsteady_recording_is_no_evidence_of_a_band():
    noise = np.random.default_rng(3).standard_normal((1, 50))
    chance = []
    for scatter in (0.15, 0.5):
        rough = np.exp(scatter * noise)
        rough[0, 30:32] = 2.2
        chance.append(plain().predict(one_test(rough=rough), np.ones((1, 50)))["confidence"][0])
    assert chance[0] > 0.9
    assert chance[1] < 0.5
