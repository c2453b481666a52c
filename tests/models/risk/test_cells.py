import numpy as np
import pandas as pd
import pytest

from models.risk.cells import cells_in_service, cells_of_found, survivor_shares

S = np.array([0.8])


def sensor(**changes):
    frame = pd.DataFrame(
        {
            "good_km": [20_000.0],
            "entry_km": [5_000.0],
            "age_now_km": [30_000.0],
            "repaired": [False],
            "contact_km": [26_000.0],
        }
    )
    return frame.assign(**changes)


def test_a_defect_before_good_tests_weighs_their_misses():
    gaps = np.array([[0.0, 8_000.0, np.nan]])
    cells = cells_in_service(sensor(), gaps, S, None, np.array([0.0, 5_000.0]))
    low, high, weight = cells.edges[0, :-1], cells.edges[0, 1:], cells.weight[0, 0]
    wide = high > low
    assert weight[wide & (high <= 12_000)] == pytest.approx(0.2**2)
    assert weight[wide & (low >= 12_000) & (high <= 20_000)] == pytest.approx(0.2)
    assert weight[wide & (low >= 20_000)] == pytest.approx(1.0)


def test_silence_weighs_a_defect_by_how_long_it_was_not_heard_of():
    rate = np.array([1 / 4_000])
    gaps = np.full((1, 3), np.nan)
    gaps[0, 0] = 0.0
    cells = cells_in_service(sensor(), gaps, np.array([0.0]), rate, np.array([0.0]))
    low, high, weight = cells.edges[0, :-1], cells.edges[0, 1:], cells.weight[0, 0]
    before = (high > low) & (high <= 26_000)
    near, far = (26_000 - high[before]) / 4_000, (26_000 - low[before]) / 4_000
    mean = (np.exp(-near) - np.exp(-far)) / (far - near)
    assert weight[before] == pytest.approx(mean)
    assert weight[low >= 26_000] == pytest.approx(1.0)


def test_cells_end_today_and_where_asked():
    ahead = np.array([0.0, 1_000.0, 5_000.0])
    cells = cells_in_service(sensor(), np.zeros((1, 3)), S, None, ahead)
    for km in ahead:
        assert (cells.edges == 30_000.0 + km).any()
    assert (np.diff(cells.edges) >= 0).all()


def test_a_found_defect_lies_no_later_than_its_finding():
    found = sensor(bad_km=27_500.0)
    cells = cells_of_found(found, np.array([[0.0, np.nan, np.nan]]), S, None)
    assert not cells.weight[0, 0][cells.edges[0, 1:] > 27_500.5].any()
    assert cells.weight[0, 0][cells.edges[0, 1:] <= 27_500].any()


def test_shares_are_the_survivor_functions_steps():
    at = np.array([0.3, 0.5, 0.9, 2.0])[None, None, :, None]
    tested = survivor_shares(at, sensor())[0, 0, :, 0]
    S_at = np.exp(-np.array([0.0, 0.5, 0.9, 2.0]) + 0.3)
    assert tested == pytest.approx(S_at[:-1] - S_at[1:])
    new = survivor_shares(at, sensor(good_km=np.nan))[0, 0, :, 0]
    assert new == pytest.approx(tested * np.exp(-0.3))
    cleaned = survivor_shares(at, sensor(repaired=True, good_km=np.nan))[0, 0, :, 0]
    assert cleaned.sum() == pytest.approx(1 - np.exp(-1.7))
