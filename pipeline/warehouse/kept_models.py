"""Fitted models kept between builds, so that unchanged records need no new fit.

A model is two files: ``<name>.skops`` holds it in the skops format, plain numbers and the names of
types, and ``<name>.json`` says what it was made from (its tags) and what the first file must hash
to. Nothing is ever unpickled. Before skops is handed a file, every type and loader it names is held
against `ALLOWED`; one that is not there and the file is refused. Whatever is amiss, the answer is a
`Refusal` with its reason, and the caller fits anew: a kept model saves time and is never needed.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import io
import json
import os
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
import skops.io

from pipeline.environment import CHECKOUT

#: Raise when the two files mean something else than before.
LAYOUT = 1
#: What a kept file may hold: (loader of skops, type). ``types_of`` lists those of a model.
ALLOWED = frozenset(
    {
        ("DictNode", "builtins.dict"),
        ("FunctionNode", "scipy._lib.array_api_compat.numpy._aliases.asarray"),
        ("JsonNode", "builtins.str"),
        ("ListNode", "builtins.list"),
        ("NdArrayNode", "numpy.float64"),
        ("NdArrayNode", "numpy.ndarray"),
        ("ObjectNode", "models.risk.assumed.GammaPrior"),
        ("ObjectNode", "models.risk.baseline.BaselineColumns"),
        ("ObjectNode", "models.risk.covariates.LifeColumns"),
        ("ObjectNode", "models.risk.delay.Delay"),
        ("ObjectNode", "models.risk.growth.WearGrowth"),
        ("ObjectNode", "models.risk.hazard.DefectHazard"),
        ("ObjectNode", "models.wear.bands.WornBands"),
        ("ObjectNode", "models.wear.groups.Group"),
        ("ObjectNode", "models.wear.progress.BandProgress"),
        ("ObjectNode", "models.wear.sensor.SensorIntensity"),
        ("ObjectNode", "models.wear.strays.Strays"),
        ("ObjectNode", "models.wear.surface.WearSurface"),
        ("ObjectNode", "scipy.interpolate._bsplines.BSpline"),
        ("ObjectNode", "sklearn.preprocessing._polynomial.SplineTransformer"),
        ("SliceNode", "builtins.slice"),
        ("TupleNode", "builtins.tuple"),
        ("TupleNode", "models.risk.course.Course"),
        ("TypeNode", "builtins.str"),
    }
)
#: What the file as a whole must be.
MODELS = frozenset(
    {
        "models.risk.hazard.DefectHazard",
        "models.risk.growth.WearGrowth",
        "models.wear.progress.BandProgress",
        "models.wear.sensor.SensorIntensity",
        "models.wear.surface.WearSurface",
    }
)
#: Unpacked, no model comes near this; a file that claims more is no model of ours.
MOST_BYTES = 256 * 1024**2
_LIBRARIES = ("numpy", "scipy", "scikit-learn", "skops")
_SOURCES = ("models/frames.py", "models/risk")


@dataclass(frozen=True)
class Refusal:
    """Why no kept model is given: a word for the program and a sentence for people.

    ``kind`` is ``absent``, ``damaged``, ``foreign`` (holds what no model of ours holds) or
    ``outdated`` (made from other records, by other code or under other settings).
    """

    kind: str
    reason: str


class ForeignFileError(Exception):
    """The file is no model of ours."""


def data_version(frames: Mapping[str, pd.DataFrame]) -> str:
    """Hash of frames by name: of their columns, kinds, rows and the order of rows."""
    digest = hashlib.sha256()
    for name in sorted(frames):
        frame = frames[name]
        kinds = [(column, str(kind)) for column, kind in frame.dtypes.items()]
        digest.update(json.dumps([name, len(frame), kinds]).encode())
        rows = pd.util.hash_pandas_object(frame, index=False, categorize=False)
        digest.update(rows.to_numpy().tobytes())
    return digest.hexdigest()


def code_version(sources: Sequence[str] = _SOURCES) -> str:
    """Hash of sources, the risk models' unless told, and of the versions of what they rest on."""
    digest = hashlib.sha256()
    root = Path(CHECKOUT)
    for source in sources:
        path = root / source
        for file in sorted(path.glob("*.py")) if path.is_dir() else [path]:
            digest.update(f"{file.relative_to(root).as_posix()}\n".encode())
            digest.update(file.read_bytes())
    for library in _LIBRARIES:
        digest.update(f"{library} {importlib.metadata.version(library)}\n".encode())
    return digest.hexdigest()


def keep_model(home_dir: Path, name: str, model: object, tags: Mapping[str, str]) -> Path | Refusal:
    """Keep a fitted model under a name; an older one of the name goes.

    Parameters
    ----------
    home_dir : Path
        Folder of kept models; made where it is not there.
    name : str
        Small letters, digits and underscores.
    model : object
        A fitted model of one of the types `MODELS`.
    tags : mapping of str to str
        What it was made from: data, code, schema, settings.

    Returns
    -------
    Path of the model's file, or a `Refusal` where it holds a type that is not allowed; nothing is
    then written.

    Raises
    ------
    ValueError
        Another name.
    OSError
        The folder cannot be written.
    """
    path, card = _paths(home_dir, name)
    data = skops.io.dumps(model)
    try:
        _refuse_foreign(data)
    except ForeignFileError as error:
        return Refusal("foreign", f"The model {name} cannot be kept: {error}.")
    home_dir.mkdir(parents=True, exist_ok=True)
    _write(path, data)
    about = {"layout": LAYOUT, "sha256": _sha256(data), "tags": dict(tags)}
    _write(card, (json.dumps(about, indent=2, sort_keys=True) + "\n").encode())
    return path


def kept_model(home_dir: Path, name: str, tags: Mapping[str, str]) -> Any | Refusal:
    """The model kept under a name, if it is whole, ours and made from the same tags.

    Returns
    -------
    The fitted model, or a `Refusal`.

    Raises
    ------
    ValueError
        Another name than `keep_model` takes.
    """
    path, card = _paths(home_dir, name)
    if not (path.is_file() and card.is_file()):
        return Refusal("absent", f"No model {name} has been kept.")
    try:
        about = _read_card(card)
        data = path.read_bytes()
    except (OSError, ValueError, KeyError, TypeError) as error:
        return _damaged(name, f"{card.name} or {path.name} cannot be read ({error})")
    other = _differences(about["tags"], tags)
    if other:
        return Refusal("outdated", f"The kept model {name} was made with other {', '.join(other)}.")
    if _sha256(data) != about["sha256"]:
        return _damaged(name, f"{path.name} is not the file that {card.name} speaks of")
    return _load(name, path, data)


def types_of(data: bytes) -> set[tuple[str, str]]:
    """Loader and type of everything a skops file names; nothing of it is imported or built.

    Raises
    ------
    ValueError, KeyError, zipfile.BadZipFile
        Not a whole skops file.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        if sum(entry.file_size for entry in archive.infolist()) > MOST_BYTES:
            raise ValueError("it unpacks to more than a model could fill")
        schema = json.loads(archive.read("schema.json"))
    return {
        (str(node["__loader__"]), f"{node['__module__']}.{node['__class__']}")
        for node in _nodes(schema)
    }


def _load(name: str, path: Path, data: bytes) -> Any | Refusal:
    try:
        _refuse_foreign(data)
    except ForeignFileError as error:
        return Refusal("foreign", f"The file {path.name} is refused: {error}.")
    try:
        model = skops.io.loads(data, trusted=sorted({kind for _, kind in ALLOWED}))
    except Exception as error:  # whatever ails the file, the way out is a new fit
        return _damaged(name, f"{type(error).__name__}: {error}")
    found = f"{type(model).__module__}.{type(model).__qualname__}"
    if found not in MODELS:
        return Refusal("foreign", f"The file {path.name} is refused: it holds a {found}.")
    return model


def _refuse_foreign(data: bytes) -> None:
    try:
        strange = types_of(data) - ALLOWED
    except (zipfile.BadZipFile, ValueError, KeyError, TypeError, RecursionError) as error:
        raise ForeignFileError(f"it is not a file of the skops format ({error})") from error
    if strange:
        named = ", ".join(sorted(f"{kind} ({loader})" for loader, kind in strange))
        raise ForeignFileError(f"it holds what no kept model may hold: {named}")


def _nodes(tree: Any) -> Iterator[dict]:
    """Every object in the schema of a skops file: whatever names a type or a loader."""
    if isinstance(tree, dict):
        if {"__class__", "__module__", "__loader__"} & tree.keys():
            yield tree
        for branch in tree.values():
            yield from _nodes(branch)
    elif isinstance(tree, list):
        for branch in tree:
            yield from _nodes(branch)


def _paths(home_dir: Path, name: str) -> tuple[Path, Path]:
    if not re.fullmatch(r"[a-z0-9_]+", name):
        raise ValueError(f"name is {name!r}, expected small letters, digits and underscores")
    return home_dir / f"{name}.skops", home_dir / f"{name}.json"


def _read_card(card: Path) -> dict[str, Any]:
    about = json.loads(card.read_text(encoding="utf-8"))
    if about["layout"] != LAYOUT:
        raise ValueError(f"layout {about['layout']}, expected {LAYOUT}")
    return {"sha256": str(about["sha256"]), "tags": dict(about["tags"])}


def _differences(found: Mapping[str, str], asked: Mapping[str, str]) -> list[str]:
    return sorted(tag for tag in {*found, *asked} if found.get(tag) != asked.get(tag))


def _damaged(name: str, what: str) -> Refusal:
    return Refusal("damaged", f"The kept model {name} is damaged: {what}.")


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _write(path: Path, data: bytes) -> None:
    """Write under a name of its own, then rename: the file is either the old or the new one."""
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    with draft.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
