"""What the program never does: run what it reads, or leave the checks for that switched off."""

import ast
import re
import tomllib
from pathlib import Path

import pytest

from pipeline.environment import CHECKOUT

PACKAGES = ("dashboard", "models", "pipeline")
SOURCES = [path for name in PACKAGES for path in sorted(Path(CHECKOUT, name).rglob("*.py"))]
#: Modules that make objects, or programs, of bytes.
NEVER = {"pickle", "cPickle", "dill", "cloudpickle", "joblib", "marshal", "shelve", "jsonpickle"}
#: The one module that shares work out through joblib, whose own reading and writing of files stays
#: refused there.
SHARES_OUT = "pipeline/jobs/workers.py"
SHARED_OUT_BY = {
    "Parallel",
    "delayed",
    "parallel_config",
    "get_reusable_executor",
    "ParallelBackendBase",
}
#: Rules that may be answered on one line: programs of our own that are started, and SQL put together
#: of names that we declare or quote.
ANSWERED = {"S603", "S606", "S608"}


def _calls(tree: ast.AST) -> set[str]:
    found = (node.func for node in ast.walk(tree) if isinstance(node, ast.Call))
    return {name.id for name in found if isinstance(name, ast.Name)}


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(CHECKOUT)))
def test_nothing_read_is_run(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported = {
        name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for name in [*(alias.name for alias in node.names), getattr(node, "module", None) or ""]
    }
    here = path.relative_to(CHECKOUT).as_posix()
    assert not imported & (NEVER - {"joblib"} if here == SHARES_OUT else NEVER)
    assert not _calls(tree) & {"eval", "exec", "compile", "__import__"}
    assert not re.search(
        r"allow_pickle\s*=\s*True|shell\s*=\s*True", path.read_text(encoding="utf-8")
    )


def test_joblib_shares_work_out_and_reads_nothing():
    tree = ast.parse(Path(CHECKOUT, SHARES_OUT).read_text(encoding="utf-8"))
    whole = [
        name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names
    ]
    assert not [name for name in whole if name.startswith("joblib")]
    taken = {
        name.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("joblib")
        for name in node.names
    }
    assert taken
    assert taken <= SHARED_OUT_BY


def test_the_rules_of_security_are_on_and_answered_line_by_line():
    settings = tomllib.loads(Path(CHECKOUT, ".ruff.toml").read_text(encoding="utf-8"))["lint"]
    assert "S" in settings["select"]
    off = [*settings["ignore"], *settings.get("extend-ignore", ())]
    assert not [rule for rule in off if rule.startswith("S")]
    assert set(settings["per-file-ignores"]) == {"tests/**"}
    said = [rule for path in SOURCES for rule in re.findall(r"noqa:.*?\b(S\d+)", path.read_text())]
    assert said
    assert set(said) <= ANSWERED
