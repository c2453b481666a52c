"""Numbers that took the place of others: one way, old stock first."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from models.stock import schemas
from models.stock.counts import CountDistribution
from models.stock.supersession import asked_beyond_old, follow_numbers, oldest_that_fits
from tests.models.stock.simulated_stock import DAY, frame, part

PAST, FUTURE = date(2025, 1, 1), date(2027, 1, 1)
K = np.arange(60)


def numbers(*rows):
    return follow_numbers(frame(schemas.PARTS_SUPPLY, rows), DAY)


def chain(**first):
    ended = {"supply_ends_on": PAST}
    return numbers(
        part("A", replaced_by="B", **(ended | first)),
        part("B", replaced_by="C", **ended),
        part("C"),
    )


def poisson_of(mean):
    return CountDistribution(poisson.pmf(K, mean), np.array(mean))


def test_an_ended_number_is_ordered_as_the_end_of_its_chain():
    found = chain()
    assert [found.ordered_as(n) for n in "ABC"] == ["C", "C", "C"]
    assert found.older("C") == ["B", "A"]
    assert found.older("A") == []


def test_a_number_still_supplied_or_without_a_successor_stays_itself():
    assert chain(supply_ends_on=FUTURE).ordered_as("A") == "A"
    assert chain(supply_ends_on=DAY).ordered_as("A") == "A"  # the last day still counts
    alone = numbers(part("A", supply_ends_on=PAST))
    assert alone.ordered_as("A") == "A"


def test_a_ring_of_numbers_stays_what_it_is():
    ended = {"supply_ends_on": PAST}
    found = numbers(part("A", replaced_by="B", **ended), part("B", replaced_by="A", **ended))
    assert [found.ordered_as(n) for n in "AB"] == ["A", "B"]


def met_by(part_no, fitted, place=("M", "throttle")):
    sensors = pd.DataFrame({"sensor_id": ["S"], "part_no": [part_no]})
    places = frame(
        schemas.SENSOR_PLACES, [{"sensor_id": "S", "model_code": place[0], "mount": place[1]}]
    )
    rows = [{"part_no": n, "model_code": "M", "mount": "throttle"} for n in fitted]
    return oldest_that_fits(sensors, places, frame(schemas.FITMENTS, rows), chain())[0]


def test_old_stock_serves_a_newer_number_only_where_the_fitments_list_it():
    assert met_by("C", ["A", "B", "C"]) == "A"
    assert met_by("C", ["B", "C"]) == "B"
    assert met_by("C", ["C"]) == "C"
    assert met_by("C", ["A", "B", "C"], place=("other", "throttle")) == "C"


def test_the_new_fits_where_the_old_did_and_an_old_number_is_never_met_by_a_newer_class():
    assert met_by("A", []) == "A"
    assert met_by("A", ["C"]) == "A"
    assert met_by("B", ["C"]) == "B"


def test_old_stock_is_used_first_and_only_for_what_it_fits():
    own = {"C": poisson_of(3.0), "B": poisson_of(0.0), "A": poisson_of(2.0)}
    found = asked_beyond_old("C", own, {"A": np.array(50)}, chain())
    # plenty of A serves the needs it fits; those of C alone stay
    assert found.pmf[:30] == pytest.approx(poisson.pmf(np.arange(30), 3.0))
    none = asked_beyond_old("C", own, {}, chain())
    assert none.pmf[:30] == pytest.approx(poisson.pmf(np.arange(30), 5.0))


def test_a_chain_of_stocks_by_simulation():
    rng = np.random.default_rng(0)
    a, b, c = (rng.poisson(m, 300_000) for m in (2.0, 1.0, 3.0))
    left = np.maximum(np.maximum(a - 1, 0) + b - 2, 0) + c
    own = {"C": poisson_of(3.0), "B": poisson_of(1.0), "A": poisson_of(2.0)}
    found = asked_beyond_old("C", own, {"A": np.array(1), "B": np.array(2)}, chain())
    assert found.mean == pytest.approx(left.mean(), abs=0.02)
    assert found.cdf[5] == pytest.approx(np.mean(left <= 5), abs=0.004)


@given(st.floats(0.1, 5), st.floats(0.1, 5), st.integers(0, 8))
def test_more_old_stock_never_raises_the_need_for_the_new(old_mean, new_mean, stock):
    own = {"C": poisson_of(new_mean), "B": poisson_of(old_mean)}
    means = [
        float(asked_beyond_old("C", own, {"B": np.array(s)}, chain()).mean)
        for s in (stock, stock + 1)
    ]
    assert means[1] <= means[0] + 1e-12
    assert means[1] >= new_mean - 1e-12
