"""Walk-ins: shrunk where little was seen, their own where much was, and honest about both."""

import numpy as np
import pytest
from scipy.stats import gamma

from models.stock import schemas
from models.stock.repeats import PRIOR_DAYS, PRIOR_REPEATS, asks_twice, repeat_rate
from models.stock.walk_in import walk_in_rates
from tests.models.stock.simulated_stock import frame, visits


def rates(rows):
    return walk_in_rates(frame(schemas.FIRST_VISITS, rows))


def test_one_cell_with_much_on_record_is_all_but_its_own_count():
    row = rates([visits(days=3652.5, n_visits=1000, n_asked=400)]).iloc[0]
    assert row["per_year"] == pytest.approx(40.0, rel=0.01)
    # Gamma(400.5, 10 years): Jeffreys' interval of a Poisson rate (scipy.stats.gamma)
    assert row["per_year_low"] == pytest.approx(gamma.ppf(0.05, 400.5) / 10, rel=0.02)
    assert row["per_year_high"] == pytest.approx(gamma.ppf(0.95, 400.5) / 10, rel=0.02)


def test_a_shop_with_little_on_record_is_drawn_to_the_others():
    long, short = (
        visits("north", days=3000, n_visits=100, n_asked=60),
        visits("south", days=30, n_visits=1, n_asked=0),
    )
    found = rates([long, short]).set_index("shop_id")
    assert found.loc["north", "own_share"] > 0.9 > 0.5 > found.loc["south", "own_share"]
    assert found.loc["south", "per_year"] > 0
    width = found["per_year_high"] / found["per_year_low"]
    assert width["south"] > 3 * width["north"]


def test_nothing_seen_is_a_small_rate_and_not_none():
    row = rates([visits(days=365.25, n_visits=0, n_asked=0)]).iloc[0]
    assert 0 < row["per_year"] < 1
    assert row["per_year_high"] > row["per_year"]


def test_a_row_without_days_is_all_prior():
    found = rates([visits("north", days=1000, n_asked=20), visits("new", days=0, n_visits=0)])
    assert found.set_index("shop_id").loc["new", "own_share"] == pytest.approx(0)


def test_cells_that_differ_are_drawn_less_together_than_cells_alike():
    rng = np.random.default_rng(1)

    def drawn(spread):
        rows = [
            visits(f"s{i % 4}", f"P{i // 4}", 730.5, 20, int(rng.poisson(6 * spread[i])))
            for i in range(40)
        ]
        return rates(rows)["own_share"].mean()

    assert drawn(rng.gamma(0.7, 1 / 0.7, 40)) > drawn(np.ones(40)) + 0.2


def test_intervals_hold_the_rate_as_often_as_they_say():
    rng = np.random.default_rng(2)
    held = []
    for _ in range(60):
        true = 3.0 * rng.gamma(2.0, 0.5, 20)
        seen = rng.poisson(true * 2)
        rows = [visits(f"s{i % 4}", f"P{i // 4}", 730.5, 20, int(n)) for i, n in enumerate(seen)]
        found = rates(rows)
        held.append((found["per_year_low"] <= true) & (true <= found["per_year_high"]))
    assert np.mean(held) == pytest.approx(0.9, abs=0.04)


def test_no_first_visits_give_no_rates():
    assert rates([]).empty


def test_the_repeat_rate_moves_from_its_prior_by_counts():
    few = frame(schemas.REPEATS, [{"n_repeats": 0, "days": 0.0}])
    assert repeat_rate(few) == pytest.approx(PRIOR_REPEATS / PRIOR_DAYS)
    many = frame(schemas.REPEATS, [{"n_repeats": 50, "days": 100_000.0}])
    assert repeat_rate(many) == pytest.approx(50.5 / (PRIOR_DAYS + 100_000))


def test_asking_twice_by_simulation_and_at_its_limits():
    rng = np.random.default_rng(3)
    days, rate = 100.0, 0.01
    first = rng.uniform(0, days, 200_000)
    again = rng.exponential(1 / rate, 200_000) < days - first
    assert asks_twice(np.array(0.3), np.array(days), rate) == pytest.approx(
        0.3 * again.mean(), rel=0.01
    )
    assert asks_twice(np.array(0.3), np.array(days), 0.0) == 0
    assert asks_twice(np.array(0.3), np.array(0.0), rate) == 0
    near = asks_twice(np.array(1.0), np.array([0.0099, 0.0101]), 1e-2)
    assert near[1] / near[0] == pytest.approx(0.0101 / 0.0099, rel=1e-3)
