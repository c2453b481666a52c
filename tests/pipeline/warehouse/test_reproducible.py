"""The same files give the same records, whatever the hash seed and however many threads work."""

import numpy as np
import pandas as pd
import pytest

from pipeline.intake.receive import handed_files, receive
from tests.bench.repro_compare import built, compared, differences, not_the_same_bytes, relative
from tests.pipeline.shop_files import sweep_csv, write_files
from tests.pipeline.stocked_shop import FILES

ADVICE = {"marts.worklist", "marts.advice", "marts.check_work", "marts.check_visits"}


@pytest.fixture
def files(tmp_path):
    return str(write_files(tmp_path / "files", FILES | {"sweeps": sweep_csv("T1", "T2")}))


@pytest.mark.long
def test_two_processes_with_one_thread_write_the_same_bytes(files, tmp_path):
    first = built(tmp_path / "first", files, threads=1, hash_seed=1)
    second = built(tmp_path / "second", files, threads=1, hash_seed=2, zone="Asia/Tokyo")
    assert not_the_same_bytes(first, second) == []


@pytest.mark.long
def test_more_threads_move_no_number_and_no_advice(files, tmp_path):
    one = built(tmp_path / "one", files, threads=1, hash_seed=1)
    many = built(tmp_path / "many", files, threads=8, hash_seed=2, omp=2, forced=True)
    found = differences(one, many)
    assert [d for d in found if d.other] == []
    assert max((difference.worst for difference in found), default=0.0) <= 1e-9
    assert ADVICE.isdisjoint(difference.table for difference in found if difference.other)


def test_files_count_in_one_order_however_they_are_named(home, tmp_path):
    folder = write_files(tmp_path / "files", {name: text for name, text in reversed(FILES.items())})
    paths = sorted(folder.iterdir())
    for given in (paths, paths[::-1], [folder]):
        receive(home, given)
    orders = [[f.name for f in handed_files(home) if f.hand_in == number] for number in (1, 2, 3)]
    assert orders[0] == orders[1] == orders[2] == sorted(orders[0])


def test_any_difference_of_a_table_is_told():
    one = pd.DataFrame({"key": ["a", "b"], "action": ["test", "leave"], "cost": [1.0, np.nan]})
    assert compared("t", one, one.copy()).worst == 0.0
    assert compared("t", one, one.assign(cost=[1.0 + 1e-8, np.nan])).worst == pytest.approx(1e-8)
    assert compared("t", one, one.assign(cost=[1.0, 2.0])).worst == np.inf
    assert compared("t", one, one.assign(action=["test", "test"])).other == "action"
    assert compared("t", one, one.iloc[:1]).worst == np.inf
    assert relative(np.array([0.0]), np.array([1e-30])) == 1.0
