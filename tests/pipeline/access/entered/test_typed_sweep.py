"""A sweep is measured before it is saved as it will be afterwards, and its bad cells are named."""

from pipeline.access.entered.typed_sweep import LISTED, typed_sweep
from tests.pipeline.shop_files import sweep_csv

SENSOR = {"kind": "potentiometer", "output": "rising", "tracks": 1}
TEST = {"session_id": "N1", "sweep_channel": "volt", "supply_v": "5"}


def test_a_clean_sweep_is_measured_and_drawn():
    found = typed_sweep(SENSOR, TEST, sweep_csv("N1").encode())
    assert found.troubles == ()
    assert found.measures["sample_count"] == 1600
    assert found.measures["dropout_count"] == 0
    assert len(found.trace)


def test_a_drop_out_shows():
    lines = sweep_csv("N1").splitlines()
    for at in (150, 151, 152):
        session, t_s, _ = lines[at].split(",")
        lines[at] = f"{session},{t_s},0.02"
    found = typed_sweep(SENSOR, TEST, ("\n".join(lines) + "\n").encode())
    assert found.measures["dropout_count"] == len(found.dropouts) == 1


def test_a_column_without_a_number_is_named_and_nothing_can_be_told():
    found = typed_sweep(SENSOR, TEST, b"session_id,t_s,signal\nN1,0,low\nN1,1,high\n")
    assert any("signal" in words for words in found.troubles)
    assert found.measures["conclusion"] == "cannot_tell"
    assert found.trace.empty


def test_many_bad_lines_are_counted():
    body = "".join(f"N1,{n},1,{n}\n" for n in range(20))
    found = typed_sweep(SENSOR, TEST, f"session_id,t_s,signal\n{body}".encode())
    assert 0 < len(found.troubles) <= LISTED + 1


def test_no_sample_gives_nothing_to_show():
    found = typed_sweep(SENSOR, TEST, b"session_id,t_s,signal\n")
    assert found.measures is None
    assert found.dropouts.empty
