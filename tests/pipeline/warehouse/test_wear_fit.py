"""The wear map's fit kept between builds: it stands, is made anew by the rule, and damage is said."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

import models.wear.evidence_moved as rule
from models.wear.mapping import score_wear
from models.wear.schemas import DROPOUT_PLACES, FAILURES, PASS_REACH
from pipeline.warehouse import wear_fit
from pipeline.warehouse.kept_wear import remembered_lives
from pipeline.warehouse.wear_fit import WearFrames, standing_wear_fit, told_of_wear_fit
from tests.models.wear.simulated_wear import Truth, simulate_wear

DAY = date(2026, 6, 1)
SCORES = ("wear_map", "bands", "progress", "own")


@pytest.fixture(scope="module")
def frames():
    fleet = simulate_wear(60, 73_030, Truth(near_defect=True, spacing_km=1500.0, tests=(3, 6)))
    ends = fleet.sensors.iloc[:30]
    failures = pd.DataFrame({"life_id": ends["sensor_id"], "failed_age_km": ends["failure_km"]})
    fleet.records.tests.loc[0, "duty"] = None
    return of_records(fleet.records, FAILURES.check(failures))


def of_records(records, failures):
    tests = rule.tests_rested_on(records.tests, records.counts.any(axis=1), records.keys)
    none = DROPOUT_PLACES.empty(), PASS_REACH.empty()
    return WearFrames(tests, lambda: records, failures, *none)


@pytest.fixture(scope="module")
def kept(frames, tmp_path_factory):
    folder = tmp_path_factory.mktemp("kept")
    return folder, standing_wear_fit(folder, frames, DAY, print)


@pytest.fixture
def fits(monkeypatch):
    """Counts the fits from here on."""
    real, calls = wear_fit.fit_wear, []

    def counted(*records):
        calls.append(records)
        return real(*records)

    monkeypatch.setattr(wear_fit, "fit_wear", counted)
    return calls


def without(frames, tests):
    """The records without some tests, by row number."""
    records = frames.records()
    rows = np.setdiff1d(np.arange(len(records)), tests)
    return of_records(records.take(rows), frames.failures)


def same(one, other):
    for name in SCORES:
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name), check_exact=True)


def test_scores_from_a_kept_fit_are_those_from_the_fit_in_memory(frames, kept, fits):
    folder, first = kept
    again = standing_wear_fit(folder, frames, DAY + timedelta(days=90), print)
    assert not fits
    assert (again.version, again.why) == (first.version, "")
    assert again.version.startswith("2026-06-01.")
    assert first.why
    same(score_wear(again.models, frames.records()), score_wear(first.models, frames.records()))
    assert again.models.gathered.keys() == first.models.gathered.keys()
    for pair, answer in first.models.gathered.items():
        assert repr(again.models.gathered[pair]) == repr(answer)
    pd.testing.assert_frame_equal(again.models.patterns, first.models.patterns, check_exact=True)
    assert np.array_equal(again.lift.weights, first.lift.weights)


def test_no_kept_model_holds_an_array_by_test_or_life(kept):
    folder, _ = kept
    models = sorted(path.name for path in folder.glob("*.skops"))
    assert models == ["wear_dropouts.skops", "wear_progress.skops", "wear_sensors.skops"]
    assert all((folder / name).stat().st_size < 200_000 for name in models)


def test_it_stands_when_one_test_comes_and_is_made_anew_as_the_rule_says(
    frames, tmp_path, monkeypatch, fits
):
    monkeypatch.setattr(rule, "FEW_TESTS", 10)
    monkeypatch.setattr(rule, "MOST_TESTS", 0.05)
    sound = np.flatnonzero(~frames.records().counts.any(axis=1))
    first = standing_wear_fit(tmp_path, without(frames, sound[-1:]), DAY, print)
    stands = standing_wear_fit(tmp_path, frames, DAY + timedelta(days=1), print)
    assert len(fits) == 1
    assert (stands.version, stands.why) == (first.version, "")
    told = told_of_wear_fit(stands, frames).iloc[0]
    assert (told["tests_since"], told["lives_since"]) == (1, 0)
    pair = frames.records().tests.groupby(["part_no", "duty"])["life_id"].transform("size")
    common = np.flatnonzero(pair == pair.max())
    few = without(frames, common[: len(common) // 2])
    anew = standing_wear_fit(tmp_path, few, DAY + timedelta(days=2), print)
    assert len(fits) == 2
    assert "are new, changed or gone" in anew.why
    assert anew.version.startswith("2026-06-03.")


def test_other_code_is_fitted_anew_without_a_word(frames, kept, fits, monkeypatch):
    folder, _ = kept
    said = []
    monkeypatch.setattr(wear_fit, "keep_wear_fit", lambda *fit: None)
    monkeypatch.setattr(wear_fit, "wear_code", lambda: "other code")
    anew = standing_wear_fit(folder, frames, DAY, said.append)
    assert len(fits) == 1
    assert "by this code" in anew.why
    assert not said


@pytest.mark.parametrize(
    "name",
    ["wear_dropouts.skops", "wear_progress.json", "wear_fit_curves.parquet", "wear_fit.json"],
)
def test_a_damaged_file_is_named_and_fitted_anew(name, frames, tmp_path, fits):
    few = without(frames, np.arange(40, len(frames.records())))
    first = standing_wear_fit(tmp_path, few, DAY, print)
    (tmp_path / name).write_bytes(b"no model")
    said = []
    anew = standing_wear_fit(tmp_path, few, DAY, said.append)
    assert len(fits) == 2
    assert ("wear_fit.json" if "wear_fit" in name else name) in said[0]
    assert "It is fitted anew" in said[0]
    assert anew.version == first.version
    assert standing_wear_fit(tmp_path, few, DAY, said.append).why == ""


def test_a_folder_that_cannot_be_written_is_said_and_done_without(frames, tmp_path):
    (tmp_path / "file").write_text("")
    few, said = without(frames, np.arange(40, len(frames.records()))), []
    fit = standing_wear_fit(tmp_path / "file", few, DAY, said.append)
    assert fit.why
    assert "could not be kept" in said[0]


def test_lives_remembered_are_scored_once_and_the_same_to_the_last_digit(frames, kept, tmp_path):
    _, fit = kept
    asked, said = [], []

    def counted(records, memory):
        def remember(keys, score):
            def seen(lives):
                asked.append(list(lives))
                return score(lives)

            return memory(keys, seen)

        return score_wear(fit.models, records, remember)

    memory = remembered_lives(tmp_path, fit.version, said.append)
    earlier = without(frames, np.array([3, 50, 51]))
    counted(earlier.records(), memory)
    again = counted(frames.records(), memory)
    whole = score_wear(fit.models, frames.records())
    same(again, whole)
    news = set(frames.records().tests["life_id"].iloc[[3, 50, 51]])
    assert set(asked[1]) == news
    same(counted(frames.records(), memory), whole)
    assert len(asked) == 2
    same(counted(earlier.records(), memory), score_wear(fit.models, earlier.records()))
    other = remembered_lives(tmp_path, "another fit", said.append)
    same(counted(frames.records(), other), whole)
    assert len(asked[-1]) == frames.records().tests["life_id"].nunique()
    (tmp_path / "wear_lives_bands.parquet").write_bytes(b"cut short")
    same(counted(frames.records(), other), whole)
    assert not said
