"""Half files are found where nobody writes any more, and left where somebody may."""

import os
import time

from pipeline.warehouse.leftovers import STILL_WRITTEN_S, leftovers, tidy


def _half(path, *, age_s: float = 0.0):
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"half")
    then = time.time() - age_s
    os.utime(path, (then, then))
    return path


def test_what_only_builders_write_is_left_over_at_once(home):
    half = [
        _half(home.rows / "000001-0001.rows.draft"),
        _half(home.sweeps / "000001-0001.draft"),
        _half(home.measured / "ab-0000.passes.draft"),
        _half(home.published / ".draft-1.duckdb"),
        _half(home.kept_models / ".hazard.skops.1"),
    ]
    kept = _half(home.rows / "000001-0001.rows.v4.parquet")
    assert leftovers(home) == sorted(half)
    tidy(home)
    assert leftovers(home) == []
    assert kept.exists()


def test_what_a_page_may_still_be_writing_is_left_for_an_hour(home):
    fresh = _half(home.root / ".settings.toml.1-2")
    old = _half(home.root / ".building.json.1-2", age_s=2 * STILL_WRITTEN_S)
    draft = home.handed_in / ".draft-ab"
    draft.mkdir()
    (draft / "0001.csv").write_bytes(b"half")
    ahead = _half(home.advised / ".000001.parquet", age_s=-99 * STILL_WRITTEN_S)
    assert leftovers(home) == [old]
    os.utime(draft, (0, 0))
    tidy(home)
    assert fresh.exists()
    assert ahead.exists()
    assert not draft.exists()
    assert not old.exists()
