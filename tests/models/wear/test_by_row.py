import numpy as np
import pytest

from models.wear.by_row import ROWS_AT_ONCE, by_row, rows_at_once


@pytest.mark.parametrize("n", [0, 1, 7, max(ROWS_AT_ONCE), max(ROWS_AT_ONCE) + 1, 400])
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_it_is_the_matrix_product(n, kind):
    rng = np.random.default_rng(n)
    rows, other = rng.normal(size=(n, 50)).astype(kind), rng.normal(size=(50, 100)).astype(kind)
    expected = rows.astype(float) @ other.astype(float)
    close = 2e-5 if kind is np.float32 else 1e-13
    assert by_row(rows, other).dtype == kind
    assert by_row(rows, other) == pytest.approx(expected, abs=close)
    assert by_row(rows, other[:, 0]) == pytest.approx(expected[:, 0], abs=close)


def test_a_row_is_the_same_to_the_last_digit_whatever_stands_beside_it():
    rng = np.random.default_rng(1)
    for k, m in ((50, 400), (100, 50), (61, 28), (4, 1)):
        rows, other = rng.normal(size=(333, k)).astype(np.float32), rng.normal(size=(k, m))
        whole = by_row(rows, other.astype(np.float32))
        for n in (1, 2, 11, 200, 332):
            some = rng.choice(333, n, replace=False)
            assert np.array_equal(by_row(rows[some], other.astype(np.float32)), whole[some])
            across = np.asfortranarray(other.astype(np.float32))
            assert np.array_equal(by_row(rows[some], across), whole[some])


def test_equal_rows_give_the_same_at_each_place_and_one_row_always_does():
    rng = np.random.default_rng(2)
    for k, m in ((50, 400), (13, 12), (100, 51), (196, 7)):
        row, other = rng.normal(size=k).astype(np.float32), rng.normal(size=(k, m))
        found = by_row(np.tile(row, (211, 1)), other.astype(np.float32))
        assert (found == found[0]).all()
        assert rows_at_once(k, m, "f") in ROWS_AT_ONCE
    assert min(ROWS_AT_ONCE) == 1
