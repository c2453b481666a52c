from __future__ import annotations

import functools
import inspect
import io
import json
import os
import pickle
import zipfile
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import skops.io
from sklearn.linear_model import LinearRegression

from models.risk.growth import WearGrowth
from models.risk.hazard import DefectHazard
from models.wear.mapping import fit_wear
from models.wear.schemas import FAILURES
from pipeline.warehouse import kept_models
from pipeline.warehouse.kept_models import (
    ALLOWED,
    Refusal,
    code_version,
    data_version,
    keep_model,
    kept_model,
    types_of,
)
from tests.models.risk.simulated_fleet import simulate, with_contact
from tests.models.wear.simulated_wear import Truth, simulate_wear

TAGS = {"data": "d1", "code": "c1", "schema": "life_windows 1"}


@pytest.fixture(scope="module")
def windows():
    return with_contact(150, 1)[0]


@pytest.fixture(scope="module")
def model(windows):
    return DefectHazard(n_cells=20).fit(windows)


@pytest.fixture
def folder(tmp_path, model):
    keep_model(tmp_path, "defect_hazard", model, TAGS)
    return tmp_path


def refused(folder, kind):
    found = kept_model(folder, "defect_hazard", TAGS)
    assert isinstance(found, Refusal), found
    assert found.kind == kind, found
    return found.reason


def put(folder, data):
    """A file that its card speaks of: only what it holds can be held against it."""
    (folder / "defect_hazard.skops").write_bytes(data)
    card = {"layout": 1, "sha256": kept_models._sha256(data), "tags": TAGS}
    (folder / "defect_hazard.json").write_text(json.dumps(card))


def test_a_kept_model_answers_as_the_fitted_one_did(folder, model, windows):
    again = kept_model(folder, "defect_hazard", TAGS)
    ages = np.tile([0.0, 8_000.0, 30_000.0, 200_000.0], (len(windows), 1))
    expected = model.predict_cumulative_hazard(windows, ages, model.draw(3, 7))
    found = again.predict_cumulative_hazard(windows, ages, again.draw(3, 7))
    assert np.array_equal(found, expected)
    assert again.delay_ == model.delay_
    assert again.get_params() == model.get_params()


def fits():
    """A fit of every kind that a shop's records may lead to."""
    lives = (simulate(40, 2, share_unknown=0.3)[0], with_contact(60, 3)[0])
    for frame, baseline, prior in product(
        lives, ("spline", "log_km"), (None, DefectHazard().delay_prior)
    ):
        yield DefectHazard(baseline=baseline, n_cells=12, delay_prior=prior).fit(frame)
    yield grown(40)
    yield grown(1)
    yield from mapped(30)
    yield from mapped(1)


def mapped(n):
    """The models of a wear map, with and without failures enough to know their level."""
    fleet = simulate_wear(n, 4, Truth(near_defect=True, spacing_km=1500.0, tests=(3, 5)))
    ends = fleet.sensors.rename(columns={"sensor_id": "life_id", "failure_km": "failed_age_km"})
    fitted = fit_wear(fleet.records, FAILURES.check(ends))
    assert (fitted.progress.failing_ is None) == (n == 1)
    return fitted.dropouts, fitted.progress, fitted.sensors


def grown(n):
    """How readings grow, from three tests of each of ``n`` lives; too few of them give no course."""
    rng = np.random.default_rng(1)
    read_km = np.tile([5_000.0, 15_000.0, 25_000.0], n)
    readings = pd.DataFrame(
        {
            "life_id": np.repeat([f"S{k}" for k in range(n)], 3),
            "read_km": read_km,
            "roughness_pct": 0.1 * np.exp(read_km / 30_000 + rng.normal(0, 0.2, 3 * n)),
            "roughness_z": read_km / 5_000 + rng.normal(0, 1, 3 * n),
            "checks_out_of_band": rng.integers(0, 2, 3 * n),
            "passed": True,
        }
    )
    lives = pd.DataFrame({"life_id": [f"S{k}" for k in range(n)]})
    return WearGrowth().fit(
        lives,
        wear_readings=readings,
        defect_km=np.tile([30_000.0, 50_000.0], (n, 1)),
        log_chance=np.log(np.full((n, 2), 0.5)),
    )


def test_the_allow_list_is_what_fitted_models_hold():
    """Should a fit come to hold another type, look at it, then add to ALLOWED what this names."""
    held = set().union(*(types_of(skops.io.dumps(fitted)) for fitted in fits()))
    assert sorted(held - ALLOWED) == []
    assert sorted(ALLOWED - held) == []


def test_every_fit_comes_back_with_all_it_held(tmp_path):
    for fitted in fits():
        assert isinstance(keep_model(tmp_path, "one", fitted, TAGS), Path)
        again = kept_model(tmp_path, "one", TAGS)
        assert type(again) is type(fitted)
        assert flat(vars(again)) == flat(vars(fitted))


def flat(value):
    """Values and types of all that an object holds, comparable by ==."""
    if isinstance(value, np.ndarray):
        return ("array", str(value.dtype), value.tolist())
    if isinstance(value, dict):
        return {name: flat(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return (type(value).__name__, [flat(part) for part in value])
    if value is None or isinstance(value, (str, int, float, np.generic, type)):
        return repr(value)
    if inspect.isroutine(value):
        return value.__qualname__
    return (type(value).__name__, flat(value.__getstate__()))


def test_nothing_kept_is_said_so(tmp_path):
    assert "No model" in refused(tmp_path, "absent")


@pytest.mark.parametrize("tag", sorted(TAGS))
def test_another_tag_is_named(folder, tag):
    found = kept_model(folder, "defect_hazard", TAGS | {tag: "other"})
    assert found.kind == "outdated"
    assert found.reason.endswith(f"other {tag}.")


def test_a_tag_more_or_less_is_another_tag(folder):
    assert kept_model(folder, "defect_hazard", TAGS | {"more": "1"}).kind == "outdated"
    assert kept_model(folder, "defect_hazard", {"data": "d1"}).kind == "outdated"


@pytest.mark.parametrize("cut", [0, 1, 1_000, -1])
def test_a_file_cut_short_is_damaged(folder, cut):
    path = folder / "defect_hazard.skops"
    path.write_bytes(path.read_bytes()[:cut])
    assert "is not the file" in refused(folder, "damaged")


def test_one_flipped_bit_is_damage(folder):
    path = folder / "defect_hazard.skops"
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    refused(folder, "damaged")


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"layout": 1}', '{"layout": 9}'])
def test_a_broken_card_is_damage(folder, text):
    (folder / "defect_hazard.json").write_text(text)
    refused(folder, "damaged")


class Trap:
    """Writes a file as soon as anything unpickles or rebuilds it."""

    def __init__(self, path: str):
        self.path = path

    def __reduce__(self):
        return (os.mkdir, (self.path,))

    def __setstate__(self, state):
        os.mkdir(state["path"])


def test_a_pickle_is_refused_and_not_run(folder):
    sprung = folder / "sprung"
    put(folder, pickle.dumps(Trap(str(sprung))))
    assert "not a file of the skops format" in refused(folder, "foreign")
    assert not sprung.exists()


def test_a_foreign_type_is_refused_and_not_run(folder):
    sprung = folder / "sprung"
    call = functools.partial(os.mkdir, str(sprung))
    put(folder, skops.io.dumps(call))
    assert "partial" in refused(folder, "foreign")
    assert not sprung.exists()


def test_a_foreign_type_within_a_model_is_refused_and_not_run(folder, model):
    data = skops.io.dumps(model)
    sprung = folder / "sprung"
    trap = {
        "__class__": "mkdir",
        "__module__": "posix",
        "__loader__": "FunctionNode",
        "content": {"module_path": "posix", "function": "mkdir"},
    }
    put(folder, with_schema(data, lambda schema: schema["content"]["content"].update(coef_=trap)))
    assert "posix.mkdir" in refused(folder, "foreign")
    assert not sprung.exists()


def test_an_allowed_type_under_another_loader_is_refused(folder, model):
    def swap(schema):
        schema["__loader__"] = "ReduceNode"

    put(folder, with_schema(skops.io.dumps(model), swap))
    assert "ReduceNode" in refused(folder, "foreign")


def test_a_module_that_is_merely_named_is_not_imported(folder, tmp_path, monkeypatch):
    (tmp_path / "strange_module.py").write_text("raise SystemExit('imported')")
    monkeypatch.syspath_prepend(str(tmp_path))

    def swap(schema):
        schema["__module__"], schema["__class__"] = "strange_module", "Strange"

    put(folder, with_schema(skops.io.dumps(LinearRegression()), swap))
    assert "strange_module.Strange" in refused(folder, "foreign")


def test_a_part_of_a_model_is_no_model(folder, model):
    put(folder, skops.io.dumps(model.delay_))
    assert "holds a models.risk.delay.Delay" in refused(folder, "foreign")


def test_a_schema_that_names_a_missing_part_is_damage(folder, model):
    def cut(schema):
        schema["content"]["content"]["coef_"]["file"] = "nowhere.npy"

    put(folder, with_schema(skops.io.dumps(model), cut))
    refused(folder, "damaged")


def test_a_file_that_unpacks_to_too_much_is_refused(folder, model, monkeypatch):
    monkeypatch.setattr(kept_models, "MOST_BYTES", 1_000)
    assert "more than a model" in refused(folder, "foreign")


def test_what_may_not_be_loaded_is_not_kept(tmp_path):
    found = keep_model(tmp_path, "other", LinearRegression(), TAGS)
    assert isinstance(found, Refusal)
    assert "LinearRegression" in found.reason
    assert not any(tmp_path.iterdir())


def test_a_write_broken_off_leaves_the_older_model(folder, windows, monkeypatch):
    monkeypatch.setattr(kept_models.os, "fsync", lambda number: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        keep_model(folder, "defect_hazard", DefectHazard(n_cells=5).fit(windows), TAGS)
    assert kept_model(folder, "defect_hazard", TAGS).n_cells == 20


def test_a_write_broken_off_between_the_two_files_is_seen(folder, windows, monkeypatch):
    write = kept_models._write

    def only_the_model(path: Path, data: bytes) -> None:
        if path.suffix == ".skops":
            write(path, data)

    monkeypatch.setattr(kept_models, "_write", only_the_model)
    keep_model(folder, "defect_hazard", DefectHazard(n_cells=5).fit(windows), TAGS)
    refused(folder, "damaged")


@pytest.mark.parametrize("name", ["", "../up", "a/b", "Big"])
def test_a_name_that_could_lead_elsewhere_is_refused(tmp_path, name):
    with pytest.raises(ValueError, match="small letters"):
        kept_model(tmp_path, name, TAGS)


def test_the_data_version_is_that_of_values_columns_kinds_and_order(windows):
    version = data_version({"windows": windows})
    assert version == data_version({"windows": windows.copy()})
    changed = [
        windows.assign(good_km=windows["good_km"] + (np.arange(len(windows)) == 3)),
        windows.rename(columns={"good_km": "bad"}),
        windows.astype({"good_km": "float32"}),
        windows.iloc[::-1],
        windows.iloc[1:],
    ]
    versions = {version, *(data_version({"windows": frame}) for frame in changed)}
    assert len(versions) == 1 + len(changed)
    assert data_version({"other": windows}) != version


def test_frames_may_hold_blanks_of_every_kind():
    blank = pd.DataFrame(
        {
            "text": pd.Series(["a", None], dtype="str"),
            "whole": pd.Series([1, None], dtype="Int64"),
            "flag": pd.Series([True, None], dtype="boolean"),
            "day": pd.Series(["2024-01-01", None], dtype="datetime64[us]"),
        }
    )
    assert data_version({"f": blank}) != data_version({"f": blank.assign(text=["a", "b"])})


def test_the_code_version_changes_with_the_code(tmp_path, monkeypatch):
    version = code_version()
    assert version == code_version()
    (tmp_path / "models" / "risk").mkdir(parents=True)
    (tmp_path / "models" / "frames.py").write_text("")
    (tmp_path / "models" / "risk" / "hazard.py").write_text("one = 1")
    monkeypatch.setattr(kept_models, "CHECKOUT", str(tmp_path))
    first = code_version()
    (tmp_path / "models" / "risk" / "hazard.py").write_text("one = 2")
    assert len({version, first, code_version()}) == 3


def with_schema(data, change):
    """The same skops file with its schema changed."""
    result = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(result, "w") as new:
        for entry in old.namelist():
            content = old.read(entry)
            if entry == "schema.json":
                schema = json.loads(content)
                change(schema)
                content = json.dumps(schema).encode()
            new.writestr(entry, content)
    return result.getvalue()
