"""Replies of control units in candump's text: by the standard's arithmetic, line by line."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.loggers import candump, extra
from pipeline.intake.loggers.readers import as_log_file, look_at, sweep_of
from pipeline.intake.loggers.recording import (
    LogChoice,
    LogError,
    LogLook,
    LogSweep,
    MissingExtraError,
)
from tests.pipeline.intake.loggers.recorded import GOLDEN, candump_text


def _look(text: str) -> LogLook:
    with as_log_file(text.encode(), "ride.log") as file:
        return look_at(file)


def _sweep(text: str, **columns: str) -> LogSweep:
    with as_log_file(text.encode(), "ride.log") as file:
        return sweep_of(file, LogChoice(columns or look_at(file).likely))


def test_the_golden_reply_is_eighteen_point_four_three_one_per_cent():
    samples = _sweep(f"(1436509052.249713) can0 {GOLDEN}\n").samples
    assert samples["signal"].round(3).tolist() == [18.431]
    assert samples["t_s"].tolist() == [0.0]


@pytest.mark.parametrize("pid", [0x11, 0x45, 0x47, 0x49, 0x4A, 0x4C])
@pytest.mark.parametrize("sender", ["7E8", "7EF", "18DAF110"])
def test_each_number_of_the_throttle_is_read_from_short_and_long_identifiers(pid, sender):
    sweep = _sweep(
        f"(1.0) can0 {sender}#0341{pid:02X}FF55555555\n(1.5) can0 {sender}#0341{pid:02X}00"
    )
    assert sweep.samples["signal"].tolist() == [100.0, 0.0]
    assert sweep.samples["t_s"].tolist() == [0.0, 0.5]
    assert sweep.channel == "percent"


def test_absolute_seconds_become_time_from_the_first_reading_and_stay_uneven():
    text = "".join(
        f"({t:.6f}) can0 {GOLDEN}\n" for t in (1436509052.249713, 1436509052.3, 1436509054)
    )
    assert _sweep(text).samples["t_s"].tolist() == [0.0, 0.050287, 1.750287]


def test_negative_replies_parts_of_longer_ones_and_other_senders_are_passed_over_and_counted():
    others = ("7E8#037F011255555555", "7E8#1014490201314654", "7E8#0641000000000155", "123#00")
    text = "".join(f"(1.0) can0 {frame}\n" for frame in (*others, "7E8#R", "7E8##1AA", GOLDEN))
    found = _look(text)
    assert [channel.samples for channel in found.channels] == [1]
    assert found.troubles == ()
    for said in (
        "1 negative replies",
        "1 parts of longer messages",
        "1 replies about other things",
        "1 frames of other senders",
        "2 frames without classic data",
    ):
        assert said in found.facts[0]


def test_two_readings_in_one_reply_have_one_time():
    samples = _sweep("(1.0) can0 7E8#0541112F474E5555\n(2.0) can0 7E8#054111304750").samples
    assert samples["signal_b"].tolist() == pytest.approx([100 * 0x4E / 255, 100 * 0x50 / 255])


def test_a_number_of_unknown_length_ends_a_reply():
    found = _look("(1.0) can0 7E8#0641112F0C1AF8\n")
    assert "1 readings of other things behind ours" in found.facts[0]


def test_positions_polled_in_turn_stand_beside_one_another_with_their_shift_said():
    sweep = _sweep(candump_text(8.0, second=True))
    assert sweep.samples["signal_b"].notna().mean() > 0.99
    assert any("up to 26 ms off" in said for said in sweep.facts)


def test_which_position_is_meant_is_taken_as_likely_and_can_be_said():
    text = f"(1.0) can0 7E8#03414980\n(1.1) can0 7E8#03414A40\n(1.2) can0 {GOLDEN}\n"
    found = _look(text)
    assert dict(found.likely) == {"signal": "PID 11 of 7E8"}
    assert "grip or pedal position (D)" in found.channels[1].label
    assert _sweep(text, signal="PID 49 of 7E8").samples["signal"].tolist() == [100 * 0x80 / 255]
    with pytest.raises(LogError, match="no column PID 45 of 7E8"):
        _sweep(text, signal="PID 45 of 7E8")


def test_two_control_units_and_two_interfaces_are_told_apart():
    text = f"(1.0) can0 {GOLDEN}\n(1.1) can1 {GOLDEN}\n(1.2) can0 7E9#03411180\n"
    assert [channel.name for channel in _look(text).channels] == [
        "PID 11 of 7E8 on can0",
        "PID 11 of 7E8 on can1",
        "PID 11 of 7E9 on can0",
    ]


def test_the_commanded_throttle_is_said_to_be_no_sensor():
    sweep = _sweep("(1.0) can0 7E8#03414C80\n")
    assert any("asks for, not what is there" in said for said in sweep.facts)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("(1.0) can0", "line 2: “(1.0) can0”; expected (seconds) interface identifier#bytes"),
        ("(x) can0 7E8#0341112F", "line 2: “(x) can0 7E8#0341112F”"),
        ("(1.0) can0 7E8#0341112", "line 2: “(1.0) can0 7E8#0341112”"),
        ("(1.0) can0 7E8#0741112F", "line 2, bytes of 7E8: “0741112f”; expected a single frame"),
        ("(1.0) can0 7E8#02411155", "line 2, bytes of 7E8: “11”; expected a byte behind 11"),
        ("(1.0) can0 7E8#", "line 2, bytes of 7E8: “”; expected a single frame"),
    ],
)
def test_a_line_that_cannot_stand_is_named_and_the_others_are_read(line, said):
    found = _look(f"(1.0) can0 {GOLDEN}\n{line}\n(2.0) can0 {GOLDEN}\n")
    assert found.channels[0].samples == 2
    (trouble,) = found.troubles
    assert trouble.startswith(f"ride.log, {said}")


def test_many_troubles_are_counted_and_the_first_named():
    found = _look(f"(1.0) can0 {GOLDEN}\n" + "nonsense\n" * 50)
    assert len(found.troubles) == 21
    assert found.troubles[-1] == "and 30 more"


def test_a_log_without_a_reading_of_the_throttle_says_what_was_expected():
    with pytest.raises(LogError, match="1 frames and no reading of the throttle; expected replies"):
        _look("(1.0) can0 123#00\n")


def test_more_replies_than_can_be_measured_are_refused(monkeypatch):
    monkeypatch.setattr(candump, "MOST_SAMPLES", 1)
    with pytest.raises(LogError, match="holds 2 replies; expected at most 1"):
        _look(f"(1.0) can0 {GOLDEN}\n(2.0) can0 {GOLDEN}\n")


def test_without_its_library_it_says_how_to_install_it(monkeypatch):
    monkeypatch.setattr(extra, "find_spec", lambda name: None)
    with pytest.raises(MissingExtraError, match="python3 -m pipeline install-loggers"):
        _look(f"(1.0) can0 {GOLDEN}\n")


_FRAMES = st.tuples(
    st.floats(0, 1e6).map(lambda t: round(t, 6)),
    st.sampled_from(["7E8", "7EA", "18DAF1AA"]),
    st.sampled_from(sorted(candump.PIDS)),
    st.integers(0, 255),
)


@settings(max_examples=30)
@given(st.lists(_FRAMES, min_size=1, max_size=30))
def test_every_reading_comes_through_in_its_order(frames):
    text = "\n".join(
        f"({t:.6f}) can0 {who}#0341{pid:02X}{a:02X}55555555" for t, who, pid, a in frames
    )
    found = _look(text)
    assert sum(channel.samples for channel in found.channels) == len(frames)
    for channel in found.channels:
        _, pid, _, who = channel.name.split()
        own = [(t, a) for t, w, p, a in frames if w == who and p == int(pid, 16)]
        samples = _sweep(text, signal=channel.name).samples
        np.testing.assert_allclose(samples["signal"], [100 * a / 255 for _, a in own])
        np.testing.assert_allclose(samples["t_s"], [t - own[0][0] for t, _ in own], atol=2e-6)


@settings(max_examples=40)
@given(st.text(max_size=300), st.binary(max_size=60))
def test_whatever_follows_a_good_line_is_read_or_named(text, odd):
    content = f"(1.0) can0 {GOLDEN}\n".encode() + text.encode("utf-8", "replace") + b"\n" + odd
    with as_log_file(content, "ride.log") as file:
        found = look_at(file)
    assert found.channels[0].samples >= 1
