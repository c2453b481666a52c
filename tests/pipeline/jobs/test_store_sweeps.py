"""Samples in a storage beside the home: built, read, looked through and brought back."""

import uuid
from datetime import date

import pytest
from fsspec.core import url_to_fs

from pipeline.access.sweep_traces import sweep_window
from pipeline.commands import main
from pipeline.home import Home, HomeError
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.keeping.backup import back_up
from pipeline.jobs.keeping.check_home import check_home
from pipeline.jobs.keeping.restore import restore
from pipeline.jobs.made_anew import rebuild_from_nothing
from pipeline.jobs.store_sweeps import store_sweeps
from pipeline.kept_sweeps import storage as storage_module
from pipeline.kept_sweeps.storage import OnDisk, Shared, StorageError, storage_of
from tests.askers import HERE
from tests.pipeline.kept_sweeps.s3_server import s3_server
from tests.pipeline.kept_sweeps.test_storage import needs_moto
from tests.pipeline.shop_files import SHOP, hand_in, sweep_csv

MORE = {
    "test_sessions": SHOP["test_sessions"].splitlines()[0]
    + "\nT4,S1,s1,2024-01-30T09:00:00+00:00,17100,routine,5.01,volt,pass\n",
    "sweeps": sweep_csv("T4"),
}


@pytest.fixture
def home(tmp_path) -> Home:
    home = Home(tmp_path / "home").prepare(as_of=date(2026, 6, 1))
    hand_in(home, tmp_path / "a", SHOP | {"sweeps": sweep_csv("T1", "T2")})
    return home


@pytest.fixture(params=["memory", "file", pytest.param("s3", marks=[pytest.mark.long, needs_moto])])
def url(request, tmp_path, monkeypatch):
    if request.param == "s3":
        with s3_server("shops") as address:
            monkeypatch.setenv("AWS_ENDPOINT_URL", address)
            monkeypatch.setenv("AWS_ACCESS_KEY_ID", "known to nobody")
            monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "told to nobody")
            yield "s3://shops/of/ours"
        storage_module._opened.cache_clear()
    elif request.param == "file":
        yield (tmp_path / "share").as_uri()
    else:
        yield f"memory://{uuid.uuid4().hex}/ours"


def _on_disk(home: Home) -> list[str]:
    store = OnDisk(home.root)
    return [*store.files("sweeps_by_shop"), *store.files("sweeps_aside")]


def test_a_home_keeps_its_samples_in_another_storage(home, tmp_path, url):
    before = sweep_window(home, HERE, "T1", 2.0, 2.5)
    assert store_sweeps(home, url) == 2
    assert _on_disk(home) == []
    assert sweep_window(home, HERE, "T1", 2.0, 2.5).samples.equals(before.samples)
    assert check_home(home) == []
    hand_in(home, tmp_path / "b", MORE)
    store = storage_of(home)
    assert isinstance(store, Shared)
    assert len(store.files("sweeps_by_shop")) == 2
    assert len(store.files("sweeps_aside")) == 1  # the version before still holds it
    assert sweep_window(home, HERE, "T4", 0.0, 99.0).sample_count == 1600
    assert check_home(home) == []
    assert store_sweeps(home, "") == 3
    assert store.files("sweeps_by_shop") == store.files("sweeps_aside") == []
    assert check_home(home) == []
    assert "nobody" not in "".join(
        path.read_text(errors="replace") for path in home.root.iterdir() if path.is_file()
    )


@pytest.mark.long
def test_what_is_lost_in_the_storage_is_made_anew_and_written_there(home, url):
    store_sweeps(home, url)
    store = storage_of(home)
    lost, _ = store.files("sweeps_by_shop")
    store.remove(lost)
    (found,) = check_home(home)
    assert found.where == lost
    rebuild(home)
    assert len(store.files("sweeps_by_shop")) == 2
    assert check_home(home) == []
    assert rebuild_from_nothing(home).different == []
    assert check_home(home) == []
    assert _on_disk(home) == []


@pytest.mark.long
def test_a_restored_home_keeps_its_own_samples_on_its_disk(home, tmp_path):
    url = f"memory://{uuid.uuid4().hex}"
    store_sweeps(home, url)
    backup = back_up(home, tmp_path / "backup.tar").backup
    restored = restore(backup.path, tmp_path / "restored")
    assert restored.different == []
    assert len(_on_disk(restored.home)) == 2
    assert len(storage_of(home).files("sweeps_by_shop")) == 2


def test_another_home_s_samples_are_never_written_over(home, tmp_path):
    url = f"memory://{uuid.uuid4().hex}"
    system, root = url_to_fs(url)
    system.pipe_file(f"{root}/sweeps_by_shop/shop_id=x/month=2026-01/part-0.parquet", b"theirs")
    with pytest.raises(StorageError, match="not this home's lie there already"):
        store_sweeps(home, url)
    assert len(_on_disk(home)) == 2


def test_a_storage_that_is_away_stops_the_build_with_a_clear_sentence(home, monkeypatch, capsys):
    store_sweeps(home, f"memory://{uuid.uuid4().hex}/s")
    monkeypatch.setattr(storage_module, "_opened", _away)
    with pytest.raises(HomeError, match="cannot be used"):
        rebuild(home)
    with pytest.raises(LookupError, match="cannot be used"):
        sweep_window(home, HERE, "T1", 2.0, 2.5)
    assert main(["store-sweeps", "s3://k:v@b/f", "--home", str(home.root)]) == 1
    assert "environment" in capsys.readouterr().err


def _away(url: str) -> None:
    raise ConnectionError("nobody there")
