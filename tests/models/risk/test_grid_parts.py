"""Spans cut by a grid, against sums made span by span."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.risk import grid_parts
from models.risk.grid_parts import Spans, cut_by_grid

EDGES = np.array([0.0, 10.0, 20.0, 40.0, 100.0])
CELLS = len(EDGES) - 1

span = st.tuples(st.integers(0, 2), st.floats(0, 100), st.floats(0, 100))


def spans_of(told) -> Spans:
    row, one, other = (np.array(each) for each in zip(*told, strict=True))
    return Spans(row, np.minimum(one, other), np.maximum(one, other))


def by_hand(spans, group, weigh=lambda low, high: high - low) -> np.ndarray:
    """Weighed km by span, group and cell."""
    table = np.zeros((len(spans.row), group.max() + 1, CELLS))
    for n, (row, low, high) in enumerate(zip(*spans, strict=True)):
        for cell in range(CELLS):
            begin, end = max(low, EDGES[cell]), min(high, EDGES[cell + 1])
            if end > begin:
                table[n, group[row], cell] = weigh(begin, end)
    return table


def table_of(matrix, grid, group) -> np.ndarray:
    table = np.zeros((matrix.shape[0], group.max() + 1, CELLS))
    table[:, grid.pair_group, grid.pair_cell] = matrix.toarray()
    return table


@given(st.lists(span, min_size=1, max_size=30), st.lists(span, min_size=1, max_size=5))
def test_every_km_of_a_span_stands_in_its_group_and_cell(told, more):
    group, lots = np.array([1, 0, 1]), (spans_of(told), spans_of(more))
    grid = cut_by_grid(lots, group, EDGES)
    for spans, parts in zip(lots, grid.parts, strict=True):
        assert table_of(parts.km, grid, group) == pytest.approx(by_hand(spans, group))
        assert parts.km.has_sorted_indices


@given(st.lists(span, min_size=1, max_size=30))
def test_only_pairs_of_a_part_are_numbered_in_order_of_group_and_cell(told):
    grid = cut_by_grid([spans_of(told)], np.array([2, 0, 5]), EDGES)
    number = grid.pair_group * CELLS + grid.pair_cell
    assert (np.diff(number) > 0).all()
    assert set(grid.parts[0].pair) == set(range(len(number)))


def test_no_span_at_all_is_cut_into_nothing():
    none = Spans(np.zeros(0, dtype=int), np.zeros(0), np.zeros(0))
    grid = cut_by_grid([none], np.zeros(0, dtype=int), EDGES)
    assert grid.parts[0].km.shape == (0, 0)
    assert len(grid.pair_cell) == 0


def season(row, low, km):
    return np.sin(row + low / 7) + km / 50


@pytest.mark.parametrize("at_once", [1, 4, 1_000])
def test_a_km_counts_as_its_season_has_it_however_many_spans_are_cut_at_a_time(
    at_once, monkeypatch
):
    monkeypatch.setattr(grid_parts, "_SPANS_AT_ONCE", at_once)
    rng = np.random.default_rng(1)
    told = [(n % 3, *rng.uniform(0, 100, 2)) for n in range(11)]
    spans, group = spans_of(told), np.array([1, 0, 1])
    grid = cut_by_grid([spans], group, EDGES, season)
    (parts,) = grid.parts
    for coef in (0.7, -0.4):  # each from the plain km, not from the last
        parts.count_season(coef)
        for n, row in enumerate(spans.row):

            def counted(low, high, row=row, coef=coef):
                return (high - low) * np.exp(coef * season(row, low, high - low))

            own = by_hand(Spans(*(each[n : n + 1] for each in spans)), group, counted)
            assert table_of(parts.km, grid, group)[n] == pytest.approx(own[0], rel=1e-6)
    for power in (1, 2):
        stacked = [(some, km.toarray()) for some, km in parts.by_season(power)]
        assert [some.start for some, _ in stacked] == list(range(0, 11, at_once))
        each = parts.of(parts.km.data * parts.season.astype(float) ** power).toarray()
        assert np.vstack([km for _, km in stacked]) == pytest.approx(each, rel=1e-6)


def test_parts_of_some_spans_are_told_with_their_place_among_these():
    spans = Spans(np.arange(3), np.array([5.0, 50.0, 0.0]), np.array([25.0, 50.0, 12.0]))
    (parts,) = cut_by_grid([spans], np.zeros(3, dtype=int), EDGES).parts
    some, place = parts.between(1, 3)
    assert parts.km.data[some].tolist() == [10.0, 2.0]
    assert place.tolist() == [1, 1]
