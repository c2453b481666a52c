"""Keep the arrows: dashboard -> pipeline -> models, and only the pipeline opens DuckDB."""

import ast
from pathlib import Path

import duckdb
import pytest

ROOT = Path(__file__).parent.parent
ALLOWED = {
    "models": {"models"},
    "pipeline": {"pipeline", "models"},
    "dashboard": {"dashboard", "pipeline"},
}
OURS = {"models", "pipeline", "dashboard", "tests"}
FOREIGN = {
    "models": {"duckdb", "streamlit", "altair", "pathlib", "os", "open"},
    "pipeline": {"streamlit", "altair"},
    "dashboard": {"duckdb", "sklearn"},
}
MODULES = [path for layer in ALLOWED for path in sorted((ROOT / layer).rglob("*.py"))]
STATEMENTS = sorted((ROOT / "pipeline").rglob("*.sql"))


def _imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: import by full name"
            found.add((node.module or "").split(".")[0])
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_run_one_way(path):
    layer = path.relative_to(ROOT).parts[0]
    imported = _imports(path)
    assert imported & OURS <= ALLOWED[layer]
    assert not imported & FOREIGN[layer]


@pytest.mark.parametrize("layer", ALLOWED)
def test_package_inits_import_nothing(layer):
    for path in (ROOT / layer).rglob("__init__.py"):
        assert not _imports(path), path


def test_models_do_no_input_or_output():
    for path in (ROOT / "models").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in {"open", "print", "input"}, path


@pytest.mark.parametrize("path", STATEMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_sql_file_holds_one_statement_and_says_its_grain(path):
    text = path.read_text(encoding="utf-8")
    assert text.startswith("-- grain: ")
    assert len(duckdb.extract_statements(text)) == 1


def test_every_sql_file_is_run_by_name():
    code = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "pipeline").rglob("*.py"))
    for path in STATEMENTS:
        folder, name = path.parent.name, path.stem
        assert folder in ("notices", "staging") or f"{name}" in code, path


def test_no_module_is_a_drawer():
    for path in [*MODULES, *(ROOT / "tests").rglob("*.py")]:
        assert path.name not in ("utils.py", "helpers.py", "common.py", "misc.py")
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 450, path
