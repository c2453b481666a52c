"""A life's scores: a function of its own tests and the fit, to the last digit."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from models.wear.life_scores import LifeScores, life_keys
from models.wear.mapping import fit_wear, score_wear
from models.wear.schemas import FAILURES
from tests.models.wear.simulated_wear import Truth, simulate_wear


@pytest.fixture(scope="module")
def case():
    fleet = simulate_wear(90, 73_010, Truth(near_defect=True, spacing_km=1500.0, tests=(3, 7)))
    tests = fleet.records.tests.copy()
    tests.loc[::5, "fault_nature"] = "undecided"
    records = replace(fleet.records, tests=tests)
    ends = fleet.sensors.iloc[:45]
    failures = pd.DataFrame({"life_id": ends["sensor_id"], "failed_age_km": ends["failure_km"]})
    fitted = fit_wear(records, FAILURES.check(failures))
    assert fitted.progress.failing_ is not None
    return records, fitted, score_wear(fitted, records)


def test_a_life_is_scored_the_same_whichever_others_are_there(case):
    records, fitted, whole = case
    lives = pd.unique(records.tests["life_id"])
    rng = np.random.default_rng(2)
    for n in (1, 2, 13, 60):
        some = rng.choice(lives, n, replace=False)
        part = score_wear(fitted, records.take(records.tests["life_id"].isin(some).to_numpy()))
        for name in ("bands", "progress", "own"):
            frame = getattr(whole, name)
            own = frame[frame["life_id"].isin(some)].reset_index(drop=True)
            pd.testing.assert_frame_equal(getattr(part, name), own, check_exact=True)


def test_with_a_memory_only_lives_with_news_are_scored_and_all_comes_out_the_same(case):
    records, fitted, whole = case
    held, asked = {}, []

    def remember(keys, score):
        missing = [life for life in keys.index if held.get(life, ("",))[0] != keys[life]]
        asked.append(missing)
        made = score(pd.Index(missing)) if missing else None
        for life in missing:
            held[life] = (keys[life], made.of(pd.Index([life])))
        parts = [held[life][1] for life in reversed(keys.index)]
        frames = [[part.frames[name] for part in parts] for name in parts[0].frames]
        return LifeScores(*(pd.concat(frame, ignore_index=True) for frame in frames))

    before = records.take(np.arange(len(records)) < len(records) - 4)
    score_wear(fitted, before, remember)
    again = score_wear(fitted, records, remember)
    last = records.tests["life_id"].iloc[-4:]
    assert set(asked[1]) == set(last)
    assert len(asked[0]) > 80
    for name in ("wear_map", "bands", "progress", "own"):
        one, other = getattr(again, name), getattr(whole, name)
        pd.testing.assert_frame_equal(one, other, check_exact=True)


def test_a_life_s_key_changes_with_all_that_its_scores_rest_on(case):
    records, _, _ = case
    keys = keys_of(records)
    life = records.tests["life_id"].iloc[7]
    assert keys.index.equals(pd.Index(pd.unique(records.tests["life_id"])))
    for name in ("counts", "exposure", "roughness"):
        values = getattr(records, name).copy()
        values[7, 3] = 0.25
        _one_has_changed(keys, keys_of(replace(records, **{name: values})), life)
    others = {"session_id": "other", "part_no": "other", "duty": "other"}
    others |= {"fault_nature": "wandering", "sensor_age_km": 1.0}
    for name, value in others.items():
        tests = records.tests.copy()
        tests.loc[7, name] = value
        _one_has_changed(keys, keys_of(replace(records, tests=tests)), life)


def keys_of(records):
    return life_keys(records.tests["life_id"], records.keys)


def _one_has_changed(before, after, life):
    assert list(before.index[before != after]) == [life]
