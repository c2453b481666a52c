"""Files of samples in the data home, on other paths, and in an object store."""

import importlib.util
import uuid

import pytest

from pipeline.home import Home
from pipeline.intake.seals import digest_of
from pipeline.kept_sweeps import storage as storage_module
from pipeline.kept_sweeps.storage import (
    OnDisk,
    Shared,
    StorageError,
    refuse_odd,
    said_of,
    storage_of,
    store_at,
)
from tests.pipeline.kept_sweeps.s3_server import s3_server

needs_moto = pytest.mark.skipif(
    importlib.util.find_spec("moto") is None, reason="moto[server] is not installed"
)


@pytest.fixture(
    params=[
        "disk",
        "file",
        "memory",
        pytest.param("s3", marks=[pytest.mark.long, needs_moto]),
    ]
)
def store(request, tmp_path, monkeypatch):
    if request.param == "disk":
        yield OnDisk(tmp_path / "store")
    elif request.param == "s3":
        with s3_server("shops") as address:
            monkeypatch.setenv("AWS_ENDPOINT_URL", address)
            monkeypatch.setenv("AWS_ACCESS_KEY_ID", "known to nobody")
            monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "told to nobody")
            yield Shared("s3://shops/of/ours")
        storage_module._opened.cache_clear()
    elif request.param == "file":
        yield Shared((tmp_path / "store").as_uri())
    else:
        yield Shared(f"memory://{uuid.uuid4().hex}/of/ours")


def _draft(tmp_path, content: bytes):
    path = tmp_path / "part.draft"
    path.write_bytes(content)
    return path


PLACE, TO = (
    "sweeps_aside/part-1.parquet",
    "sweeps_by_shop/shop_id=s%2E1/month=2026-05/part-1.parquet",
)


def test_a_file_is_put_moved_read_and_taken_away(store, tmp_path):
    assert store.files("sweeps_aside") == store.files("sweeps_by_shop") == []
    draft = _draft(tmp_path, b"samples")
    wanted = digest_of(draft)
    store.put(draft, PLACE)
    assert not draft.exists()
    assert store.files("sweeps_aside") == [PLACE]
    assert (store.size(PLACE), store.digest(PLACE)) == (7, wanted)
    store.move(PLACE, TO)
    assert store.size(PLACE) is None
    assert store.files("sweeps_aside") == []
    assert store.files("sweeps_by_shop") == [TO]
    source = store.source(TO)
    content = source.read_bytes() if hasattr(source, "read_bytes") else source.read()
    assert content == b"samples"
    store.remove(TO)
    store.remove(TO)
    assert store.files("sweeps_by_shop") == []
    for ask in (store.source, store.digest):
        with pytest.raises(FileNotFoundError):
            ask(TO)


def test_a_file_takes_the_place_of_another(store, tmp_path):
    store.put(_draft(tmp_path, b"old"), PLACE)
    store.put(_draft(tmp_path, b"newer"), PLACE)
    assert store.size(PLACE) == 5
    store.put(_draft(tmp_path, b"old"), TO)
    store.move(PLACE, TO)
    assert store.size(TO) == 5


@pytest.mark.parametrize(
    "url",
    [
        "s3://key:secret@bucket/folder",
        "s3://bucket/folder?secret=s",
        "ftp://someone@host/folder",
    ],
)
def test_an_address_with_a_credential_is_refused_and_not_repeated(url):
    with pytest.raises(StorageError, match="environment") as refused:
        refuse_odd(url)
    assert "secret" not in str(refused.value)
    assert "someone" not in str(refused.value)


@pytest.mark.parametrize("url", ["folder", "/mnt/share", "nonsense://x"])
def test_what_is_no_address_is_named(url):
    with pytest.raises(StorageError, match=r"no address.*s3://bucket/folder"):
        refuse_odd(url)


def test_a_storage_that_does_not_answer_is_named_without_credentials(monkeypatch, tmp_path):
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:9")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "told to nobody")
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "known to nobody")
    storage_module._opened.cache_clear()
    with pytest.raises(StorageError, match="s3://shops/of/ours cannot be used") as refused:
        Shared("s3://shops/of/ours").size(PLACE)
    storage_module._opened.cache_clear()
    assert "nobody" not in str(refused.value)


def test_a_copied_home_leaves_the_first_one_s_samples_alone(tmp_path):
    home = Home(tmp_path / "home").prepare()
    assert isinstance(storage_of(home), OnDisk)
    store_at(home, "memory://shops")
    assert storage_of(home) == Shared("memory://shops")
    copy = Home(tmp_path / "home").root.rename(tmp_path / "copy")
    with pytest.raises(StorageError, match="moved or is a copy"):
        storage_of(Home(copy))
    assert said_of(Home(copy))[0] == "memory://shops"
    store_at(Home(copy), "")
    assert isinstance(storage_of(Home(copy)), OnDisk)
