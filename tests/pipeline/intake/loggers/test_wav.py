"""Sound recordings under a stated scale: every coding, honest about what a sound card loses."""

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from pipeline.intake.loggers import wav
from pipeline.intake.loggers.readers import as_log_file, look_at, sweep_of
from pipeline.intake.loggers.recording import SCALE, LogChoice, LogError, LogLook, LogSweep
from tests.pipeline.intake.loggers.recorded import ac_coupled, sweep_volts, wav_bytes

FULL_V = 5.0


def _look(content: bytes) -> LogLook:
    with as_log_file(content, "sweep.wav") as file:
        return look_at(file)


def _sweep(content: bytes, **choice) -> LogSweep:
    said = {"volts_at_full_scale": FULL_V, "keeps_levels": True} | choice
    with as_log_file(content, "sweep.wav") as file:
        columns = said.pop("columns", None) or look_at(file).likely
        return sweep_of(file, LogChoice(columns, **said))


@pytest.mark.parametrize(
    ("coding", "bits", "off"),
    [(1, 8, 0.03), (1, 16, 1e-4), (1, 24, 1e-6), (1, 32, 1e-6), (3, 32, 1e-6), (3, 64, 1e-6)],
)
def test_the_same_volts_come_from_each_coding(coding, bits, off):
    volts = np.array([0.0, 0.5, 2.25, 4.5, -1.0])
    sweep = _sweep(wav_bytes([volts / FULL_V], 8_000, bits=bits, coding=coding))
    np.testing.assert_allclose(sweep.samples["signal"], volts, atol=off)
    np.testing.assert_array_equal(sweep.samples["t_s"], np.arange(5) / 8_000)


def test_the_golden_sample_under_scale_and_offset():
    content = wav_bytes([np.array([0.5, -0.25])])
    samples = _sweep(content, volts_at_full_scale=2.0, offset_v=2.5).samples
    assert samples["signal"].tolist() == [3.5, 2.0]


def test_left_and_right_are_two_channels_and_can_be_two_tracks():
    content = wav_bytes([np.full(9, 0.25), np.full(9, 0.5)])
    found = _look(content)
    assert [channel.name for channel in found.channels] == ["left", "right"]
    assert found.asks == {SCALE}
    samples = _sweep(content, columns={"signal": "right", "signal_b": "left"}).samples
    assert samples["signal"].unique().tolist() == [2.5]
    assert samples["signal_b"].unique().tolist() == [1.25]
    with pytest.raises(LogError, match="no channel for the travel"):
        _sweep(content, columns={"signal": "right", "travel_pct": "left"})


@pytest.mark.parametrize("keeps", [False, None])
def test_an_input_that_loses_slow_levels_or_of_which_nobody_said_concludes_nothing(keeps):
    sweep = _sweep(wav_bytes([np.full(9, 0.25)]), keeps_levels=keeps)
    assert sweep.channel is None
    assert "slow levels and drift" in sweep.not_judged
    assert sweep.not_judged in sweep.facts


def test_a_recording_that_swings_below_ground_is_not_taken_for_one_that_keeps_levels():
    _, volts = sweep_volts(4_000)
    sweep = _sweep(wav_bytes([ac_coupled(volts, 4_000) / FULL_V], 4_000))
    assert sweep.channel is None
    assert "in 100 samples lie below 0 V" in sweep.not_judged
    kept = _sweep(wav_bytes([volts / FULL_V], 4_000))
    assert (kept.channel, kept.not_judged) == ("volt", "")


@pytest.mark.parametrize(
    ("choice", "said"),
    [
        ({"volts_at_full_scale": None}, "volts at full scale are not stated"),
        ({"volts_at_full_scale": 0.0}, "0 V at full scale; expected more than 0"),
        ({"volts_at_full_scale": float("nan")}, "nan V at full scale"),
        ({"offset_v": 5_000.0}, "5000 V at zero; expected -1000 to 1000 V"),
    ],
)
def test_a_scale_that_is_none_is_refused(choice, said):
    with pytest.raises(LogError, match=said):
        _sweep(wav_bytes([np.zeros(3)]), **choice)


def test_an_overdriven_input_is_named_by_its_first_sample():
    sweep = _sweep(wav_bytes([np.array([0.1, 1.0, 1.0, -1.0, 0.2])]))
    (trouble,) = sweep.troubles
    assert trouble.startswith("sweep.wav, sample 2, channel 1: “full scale”; expected less than")
    assert "3 such samples" in trouble


def test_a_sample_that_is_no_number_stays_in_its_place_and_is_named():
    values = np.array([0.1, np.nan, np.inf, 0.2])
    sweep = _sweep(wav_bytes([values], bits=32, coding=3))
    assert len(sweep.samples) == 4
    assert "sample 2" in sweep.troubles[0]
    assert "(2 such samples)" in sweep.troubles[0]


def test_a_recorder_that_was_cut_off_leaves_what_is_there():
    content = wav_bytes([np.full(100, 0.1)])[:-51]
    sweep = _sweep(content)
    assert len(sweep.samples) == 74
    assert "byte 44, data: “200 bytes”; expected as many as are there" in sweep.troubles[0]


def _with_head(**changed: int) -> bytes:
    head = {"coding": 1, "channels": 1, "rate": 48_000, "bytes": 96_000, "block": 2, "bits": 16}
    packed = struct.pack("<HHIIHH", *(head | changed).values())
    return wav_bytes([np.zeros(4)]).replace(wav_bytes([np.zeros(4)])[20:36], packed)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (_with_head(rate=96_000), "96,000 samples a second; expected 1 to 48,000"),
        (_with_head(rate=0), "0 samples a second"),
        (_with_head(coding=85), "coding 85 with 16 bits; expected PCM"),
        (_with_head(bits=12), "with 12 bits"),
        (_with_head(channels=0), "states 0 channels"),
        (_with_head(block=7), "1 channels in 7 bytes"),
        (wav_bytes([np.zeros(4)])[:36], "no part “data”"),
        (b"RIFF\x04\x00\x00\x00WAVE", "no part “fmt”"),
        (b"RF64" + wav_bytes([np.zeros(4)])[4:], "expected RIFF and WAVE"),
        (wav_bytes([np.zeros(0)]), "holds no sample"),
    ],
)
def test_what_is_no_sound_recording_of_this_kind_says_what_was_expected(content, said):
    with pytest.raises(LogError, match=said):
        _sweep(content)


def test_more_samples_than_can_be_measured_are_refused(monkeypatch):
    monkeypatch.setattr(wav, "MOST_SAMPLES", 10)
    with pytest.raises(LogError, match="holds 11 samples; expected at most 10"):
        _look(wav_bytes([np.zeros(11)]))


@given(
    arrays.arrays(np.float64, st.integers(1, 50), elements=st.floats(-0.999, 0.999)),
    st.sampled_from([(1, 16), (1, 24), (3, 64)]),
    st.floats(0.1, 100),
    st.floats(-10, 10),
)
def test_every_sample_comes_through_within_its_step(shares, how, full_v, zero_v):
    coding, bits = how
    content = wav_bytes([shares], bits=bits, coding=coding)
    sweep = _sweep(content, volts_at_full_scale=full_v, offset_v=zero_v)
    step = full_v * 2.0 ** (1 - bits) + 1e-6
    np.testing.assert_allclose(sweep.samples["signal"], full_v * shares + zero_v, atol=step)


@given(st.binary(max_size=120))
def test_whatever_stands_behind_the_first_bytes_is_read_or_refused_in_words(tail):
    assert _channels_or_reason(b"RIFF\xff\xff\xff\xffWAVE" + tail)


def _channels_or_reason(content: bytes) -> bool:
    try:
        return len(_look(content).channels) > 0
    except LogError as error:
        return "expected" in str(error)
