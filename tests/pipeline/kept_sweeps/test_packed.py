"""Sweeps sent packed come out as they are kept, and little is read besides."""

import io
import pickle

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.kept_sweeps import part_format
from pipeline.kept_sweeps.packed import packed, unpacked
from pipeline.kept_sweeps.part_format import SCHEMA, Sweeps, as_numbers, write_part

NAMES = [f"T{number}" for number in range(1, 6)]
NUMBERS = st.one_of(st.none(), st.floats(), st.decimals(-9, 9, places=6).map(float))
SWEEPS = st.dictionaries(
    st.text(min_size=1, max_size=3), st.lists(st.tuples(NUMBERS, NUMBERS), max_size=5), max_size=6
)


def kept_sweep(session_id: str, t_s, signal, travel_pct=None) -> pa.Table:
    """One sweep as it is kept, nothing of it whole millionths."""
    count = len(t_s)
    known = {
        "session_id": pa.array([session_id] * count, pa.string()),
        "sample_no": pa.array(range(count), pa.int32()),
        "t_exact": pa.array(t_s, pa.float64(), from_pandas=False),
        "signal_exact": pa.array(signal, pa.float64(), from_pandas=False),
    }
    if travel_pct is not None:
        known["travel_pct"] = pa.array(travel_pct)
    return pa.table(
        [known.get(name, pa.nulls(count, SCHEMA.field(name).type)) for name in SCHEMA.names],
        schema=SCHEMA,
    )


@pytest.fixture
def part(tmp_path):
    """Five sweeps in three row groups; the last with travel."""
    rng = np.random.default_rng(5)
    t_s = np.arange(20_000) / 1000
    made = [kept_sweep(name, t_s, rng.random(20_000)) for name in NAMES[:4]]
    made.append(kept_sweep("T5", t_s, rng.random(20_000), rng.random(20_000)))
    write_part(tmp_path / "part.parquet", made)
    return tmp_path / "part.parquet"


def _told(session_ids, bounds, columns) -> dict[str, pd.DataFrame]:
    spans = zip(session_ids, bounds[:-1], bounds[1:], strict=True)
    return {name: pd.DataFrame({c: v[a:b] for c, v in columns.items()}) for name, a, b in spans}


def _same(one: pd.DataFrame, other: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(one, other, check_exact=True)


@given(kept=SWEEPS, chosen=st.data(), in_group=st.integers(1, 12))
def test_any_sweeps_chosen_of_a_file_come_out_as_they_are_kept(
    tmp_path_factory, kept, chosen, in_group
):
    path = tmp_path_factory.mktemp("any") / "part.parquet"
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(part_format, "LEAST_IN_GROUP", in_group)
        write_part(path, [kept_sweep(name, *_columns(kept[name])) for name in sorted(kept)])
    asked = chosen.draw(
        st.lists(st.sampled_from(sorted(kept)), unique=True) if kept else st.just([])
    )
    found = _told(*unpacked([packed(path, asked)]))
    assert list(found) == sorted(name for name in asked if kept[name])
    for name, sweep in found.items():
        _same(sweep, as_numbers(Sweeps(path).sweep(name)))


def _columns(samples: list) -> tuple[list, list]:
    return [t_s for t_s, _ in samples], [signal for _, signal in samples]


def test_what_is_sent_holds_all_that_is_needed(part):
    kept = {name: as_numbers(Sweeps(part).sweep(name)) for name in NAMES}
    sent = pickle.dumps([packed(part, ["T5", "T2"]), packed(part, ["T1"])])
    part.unlink()
    found = _told(*unpacked(pickle.loads(sent)))  # noqa: S301 - our own
    assert list(found) == ["T2", "T5", "T1"]
    for name, sweep in found.items():
        _same(sweep, kept[name])


def test_row_groups_that_hold_none_of_the_sweeps_are_not_read(part):
    pieces = packed(part, ["T5"]).pieces
    size = part.stat().st_size
    assert len(pieces) == 2
    assert sum(len(piece) for _, piece in pieces) < 0.4 * size
    assert sum(len(piece) for _, piece in packed(part, NAMES).pieces) == size - len(b"PAR1")


def test_an_open_file_is_read_alike_and_closed(part):
    file = io.BytesIO(part.read_bytes())
    assert packed(file, ["T3"]) == packed(part, ["T3"])
    assert file.closed


def test_sessions_not_there_and_no_sessions_are_no_sweeps(part):
    for asked in (["A", "T9"], []):
        session_ids, bounds, columns = unpacked([packed(part, asked)])
        assert session_ids == []
        assert bounds.tolist() == [0]
        assert {len(column) for column in columns.values()} == {0}
    assert unpacked([])[0] == []


def test_a_file_that_is_no_part_is_refused(tmp_path):
    (tmp_path / "part.parquet").write_bytes(b"PAR1 and nothing more PAR1")
    with pytest.raises(pa.ArrowException):
        packed(tmp_path / "part.parquet", ["T1"])
