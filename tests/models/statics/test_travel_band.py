import numpy as np
import pandas as pd
import pytest

from models.statics.travel_band import GoodProfiles, greatest_departures, learn_travel_bands

CELLS = 25


def profiles(values, part_no="P1"):
    """Profiles of sensors of one part number from an array of shape (sensors, cells)."""
    edges = np.linspace(0, 100, values.shape[1] + 1)
    names = [f"{part_no}-{i}" for i in range(len(values))]
    sensors = pd.DataFrame({"part_no": part_no, "sensor_id": names}, dtype="str")
    return GoodProfiles(
        sensors, pd.DataFrame({"bin_from_pct": edges[:-1], "bin_to_pct": edges[1:]}), values
    )


def together(*some):
    """Profiles of several part numbers in one."""
    return GoodProfiles(
        pd.concat([one.sensors for one in some], ignore_index=True),
        some[0].bins,
        np.concatenate([one.smoothness_pct for one in some]),
    )


def sound(rng, n, cells=CELLS):
    """Smoothness of sound sensors: log-normal, rougher toward the open stop, sensors differ."""
    middle = np.log(np.linspace(0.1, 0.3, cells))
    return np.exp(
        middle + 0.2 * rng.standard_normal((n, 1)) + 0.3 * rng.standard_normal((n, cells))
    )


def test_departures_are_taken_from_the_others():
    values = np.array([[0.0], [1.0], [5.0]])
    # of 5: the others have mean 0.5 and spread sqrt(0.5)
    assert greatest_departures(values)[2] == pytest.approx(4.5 / np.sqrt(0.5))


def test_departures_agree_with_leaving_out_one_by_one():
    rng = np.random.default_rng(3)
    values = rng.standard_normal((8, 6))
    values[2, 3] = np.nan
    for i, found in enumerate(greatest_departures(values)):
        others = np.delete(values, i, axis=0)
        z = (values[i] - np.nanmean(others, axis=0)) / np.nanstd(others, axis=0, ddof=1)
        assert found == pytest.approx(np.nanmax(z))


@pytest.mark.parametrize(("n", "words"), [(70, "by rank"), (25, "normal curve assumed")])
def test_the_limit_keeps_its_promise_over_the_whole_travel(n, words):
    """Of many shops, 95 % at least should have a limit that 95 % of sound sensors stay below."""
    rng = np.random.default_rng(11)
    kept = []
    for _ in range(60):
        band = learn_travel_bands(profiles(sound(rng, n)))
        new = sound(rng, 400)
        kept.append((new <= band["high_pct"].to_numpy()).all(axis=1).mean() >= 0.95)
    assert words in band["method"].iloc[0]
    # 60 draws at 95 %: two standard deviations below is 0.89
    assert np.mean(kept) >= 0.85


def test_a_worn_patch_stands_out_and_a_uniformly_lively_sensor_does_not():
    rng = np.random.default_rng(5)
    band = learn_travel_bands(profiles(sound(rng, 70)))
    worn = sound(rng, 1)[0]
    worn[6] *= 15
    assert (worn > band["high_pct"]).tolist().index(True) == 6
    assert (sound(rng, 200) <= band["high_pct"].to_numpy()).all(axis=1).mean() > 0.9


def test_too_few_sensors_give_no_limit_and_say_how_many_are_needed():
    band = learn_travel_bands(profiles(sound(np.random.default_rng(1), 3)))
    assert band["high_pct"].isna().all()
    assert "at least 5 needed" in band["method"].iloc[0]
    assert (band["more_needed"] == 56).all()


def test_a_part_with_few_sensors_borrows_from_its_family_then_its_kind():
    rng = np.random.default_rng(2)
    good = together(
        profiles(sound(rng, 2), "P1"),
        profiles(sound(rng, 9), "P2"),
        profiles(sound(rng, 1), "P3"),
    )
    kinds = dict.fromkeys(("P1", "P2", "P3"), "potentiometer")
    band = learn_travel_bands(good, families={"P1": "P2", "P2": "P2"}, kinds=kinds)
    method = band.groupby("part_no")["method"].first()
    assert "pooled over 2 related part numbers" in method["P1"]
    assert "pooled" not in method["P2"]
    assert "pooled over 3 parts of its kind" in method["P3"]


def test_cells_that_few_have_covered_stay_blank():
    values = sound(np.random.default_rng(4), 10)
    values[2:, 0] = np.nan
    band = learn_travel_bands(profiles(values))
    assert np.isnan(band["high_pct"].iloc[0])
    assert band["high_pct"].iloc[1:].notna().all()


def test_sensors_without_a_profile_and_cells_that_nobody_covers_count_for_nothing():
    values = sound(np.random.default_rng(6), 12)
    more = np.full((15, CELLS + 1), np.nan)
    more[2:14, :CELLS] = values
    found, wanted = learn_travel_bands(profiles(more)), learn_travel_bands(profiles(values))
    assert len(found) == CELLS
    pd.testing.assert_frame_equal(found.iloc[:, 3:], wanted.iloc[:, 3:])


def test_the_order_in_which_sensors_come_does_not_count():
    good = profiles(sound(np.random.default_rng(7), 30))
    turned = GoodProfiles(
        good.sensors[::-1].reset_index(drop=True), good.bins, good.smoothness_pct[::-1]
    )
    found, wanted = learn_travel_bands(turned), learn_travel_bands(good)
    pd.testing.assert_frame_equal(found, wanted, check_exact=True)


def test_no_profile_gives_no_band():
    assert learn_travel_bands(profiles(np.empty((0, CELLS)))).empty


def test_cells_that_few_have_covered_do_not_widen_the_limit_of_the_others():
    rng = np.random.default_rng(8)
    values = sound(rng, 60)
    thin = values.copy()
    thin[3:, :4] = np.nan
    whole, cut = (learn_travel_bands(profiles(v))["high_pct"].to_numpy() for v in (values, thin))
    assert np.isnan(cut[:4]).all()
    assert np.median(cut[4:] / whole[4:]) < 1.2
