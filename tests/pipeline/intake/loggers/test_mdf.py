"""MDF 4 through a child of bounded memory: channels by their units, and nothing damaged gets by."""

import random

import numpy as np
import pytest

from pipeline.intake.loggers import extra, mdf
from pipeline.intake.loggers.readers import look_at, sweep_of
from pipeline.intake.loggers.recording import LogChoice, LogError, LogFile, MissingExtraError
from tests.fuzz.made_files import damaged
from tests.pipeline.intake.loggers.recorded import sweep_volts, write_mdf


@pytest.fixture(scope="module")
def file(tmp_path_factory) -> LogFile:
    """One file for all: making and reading one takes the library's import."""
    return LogFile(write_mdf(tmp_path_factory.mktemp("mdf") / "a.mf4"), "a.mf4")


def test_channels_are_listed_with_unit_and_rate_and_the_others_with_a_reason(file):
    found = look_at(file)
    assert [channel.name for channel in found.channels] == [
        "TPS",
        "TPS fine",
        "grip of group 2",
        "grip of group 5",
    ]
    assert found.channels[0].step_s == pytest.approx(0.005)
    assert found.channel_of("TPS fine") == "volt"
    assert found.own_names
    assert found.troubles == ()
    assert "made (its values are made by a formula in the file" in found.facts[1]
    assert "words (its values are no numbers)" in found.facts[1]


@pytest.mark.long
def test_what_is_remembered_by_name_is_likely(file):
    assert look_at(file, {"TPS": "signal", "gone": "signal_b"}).likely == {"signal": "TPS"}


def test_volts_come_through_from_the_first_sample_on_with_a_slower_travel_beside(file):
    sweep = sweep_of(file, LogChoice({"signal": "TPS", "travel_pct": "grip of group 2"}))
    t_s, volts = sweep_volts(200.0)
    np.testing.assert_allclose(sweep.samples["signal"], volts)
    np.testing.assert_allclose(sweep.samples["t_s"], t_s, atol=1e-8)
    assert sweep.samples["travel_pct"].max() == 100.0
    assert sweep.samples["travel_pct"].notna().sum() == sweep_volts(10.0)[0].size
    assert sweep.channel == "volt"


@pytest.mark.long
def test_stated_millivolts_become_volts_and_a_formula_and_mixed_units_are_refused(file):
    sweep = sweep_of(file, LogChoice({"signal": "TPS fine"}))
    np.testing.assert_allclose(sweep.samples["signal"], sweep_volts(200.0)[1], atol=1e-8)
    assert "Values in mV, as the file states, are multiplied by 0.001." in sweep.facts
    with pytest.raises(LogError, match="made cannot be read: its values are made by a formula"):
        sweep_of(file, LogChoice({"signal": "made"}))
    with pytest.raises(LogError, match="the second track is in “mV”; expected “V”"):
        sweep_of(file, LogChoice({"signal": "TPS", "signal_b": "TPS fine"}))


@pytest.mark.long
def test_a_channel_that_is_not_there_is_named(file):
    with pytest.raises(LogError, match=r"no column nothing \(for signal\); expected one of TPS"):
        sweep_of(file, LogChoice({"signal": "nothing"}))


def test_what_takes_more_memory_than_it_may_is_refused(file, monkeypatch):
    monkeypatch.setattr(mdf, "MEMORY_BYTES", 64 << 20)
    with pytest.raises(LogError, match="more than can be held in memory"):
        look_at(file)


@pytest.mark.long
def test_more_samples_than_can_be_measured_are_refused(file, monkeypatch):
    monkeypatch.setattr(mdf, "MOST_SAMPLES", 100)
    with pytest.raises(LogError, match="expected at most 100"):
        sweep_of(file, LogChoice({"signal": "TPS"}))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"MDF     3.30    abc", "version “3.30”; expected MDF 4"),
        pytest.param(
            b"MDF     4.10    " + bytes(200), "cannot be read as MDF", marks=pytest.mark.long
        ),
    ],
)
def test_what_is_no_mdf_4_says_so(tmp_path, content, said):
    path = tmp_path / "odd.mf4"
    path.write_bytes(content)
    with pytest.raises(LogError, match=said):
        look_at(LogFile(path, "odd.mf4"))


def test_without_its_library_it_says_how_to_install_it(file, monkeypatch):
    monkeypatch.setattr(extra, "find_spec", lambda name: None)
    with pytest.raises(MissingExtraError, match="install them once: python3 -m pipeline install"):
        look_at(file)


@pytest.mark.long
def test_damaged_files_are_read_or_refused_in_words_and_never_end_the_program(file, tmp_path):
    whole = file.path.read_bytes()
    for seed in range(25):
        lot = random.Random(seed)  # noqa: S311 - no secret
        path = tmp_path / f"{seed}.mf4"
        path.write_bytes(whole[:8] + damaged(lot, whole[8:]))
        assert _read_or_refused(LogFile(path, path.name)), seed


def _read_or_refused(file: LogFile) -> bool:
    try:
        found = look_at(file)
        return len(sweep_of(file, LogChoice({"signal": found.channels[0].name})).samples) > 0
    except LogError as error:
        return file.name in str(error) or "holds no sample" in str(error)
