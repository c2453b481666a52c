import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline import environment

MODULE = Path(environment.CHECKOUT) / "pipeline" / "environment.py"


def test_it_imports_nothing_but_the_standard_library():
    imported = {
        name.name.split(".")[0]
        for node in ast.walk(ast.parse(MODULE.read_text()))
        if isinstance(node, ast.Import)
        for name in node.names
    } | {
        (node.module or "").split(".")[0]
        for node in ast.walk(ast.parse(MODULE.read_text()))
        if isinstance(node, ast.ImportFrom)
    }
    assert imported <= set(sys.stdlib_module_names)


@pytest.mark.parametrize(
    "name", ["pipeline/environment.py", "dashboard/__main__.py", "tests/__main__.py"]
)
def test_an_old_python_can_read_it(name):
    text = (Path(environment.CHECKOUT) / name).read_text()
    ast.parse(text, feature_version=(3, 7))


def test_an_old_python_is_told_so_in_one_sentence(monkeypatch):
    monkeypatch.setattr(environment, "OLDEST_PYTHON", (99, 0))
    with pytest.raises(SystemExit) as ended:
        environment.enter("pipeline")
    assert str(ended.value).startswith(
        "Wear Atlas cannot start: it needs Python 99.0 or newer, this is 3."
    )


def test_a_missing_venv_module_is_told_in_one_sentence(monkeypatch, tmp_path):
    monkeypatch.setattr(environment, "VENV", str(tmp_path / "venv"))
    monkeypatch.setattr(sys, "executable", _python_without_venv(tmp_path))
    with pytest.raises(
        environment.SetUpError, match=r"venv module is missing.*No module named venv"
    ):
        environment._make_ready([])
    assert not (tmp_path / "venv").exists()


def _python_without_venv(folder: Path) -> str:
    fake = folder / "python"
    fake.write_text("#!/bin/sh\necho 'python: No module named venv'\nexit 1\n")
    fake.chmod(0o755)
    return str(fake)


def test_requirements_are_installed_once_and_again_when_they_change(monkeypatch, tmp_path):
    monkeypatch.setattr(environment, "VENV", str(tmp_path))
    monkeypatch.setattr(environment, "_venv_python", lambda: str(tmp_path / "python"))
    (tmp_path / "python").touch()
    installed = []
    monkeypatch.setattr(environment, "_install", installed.append)
    wanted = tmp_path / "requirements.txt"
    wanted.write_text("a==1\n")
    environment._make_ready([str(wanted)])
    environment._make_ready([str(wanted)])
    assert len(installed) == 1
    wanted.write_text("a==2\n")
    environment._make_ready([str(wanted)])
    assert len(installed) == 2


def test_a_failed_install_says_what_pip_said(monkeypatch, tmp_path):
    fake = tmp_path / "python"
    fake.write_text("#!/bin/sh\necho 'ERROR: no such release'\nexit 1\n")
    fake.chmod(0o755)
    monkeypatch.setattr(environment, "_venv_python", lambda: str(fake))
    with pytest.raises(environment.SetUpError, match="failed: ERROR: no such release"):
        environment._install(os.path.join(environment.CHECKOUT, "requirements.txt"))


def test_the_command_line_starts_within_the_environment():
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", "--help"],
        capture_output=True, text=True, cwd=environment.CHECKOUT, check=True,
    )  # fmt: skip
    assert "ingest" in done.stdout


@pytest.mark.parametrize(
    ("lock", "extra"),
    [(environment.LOGGER_REQUIREMENTS, "loggers"), (environment.CLUSTER_REQUIREMENTS, "cluster")],
)
def test_an_extra_is_installed_only_where_it_was_asked_for(lock, extra):
    def is_among(tests=False, network=False, loggers=False, cluster=False):
        names = environment._requirement_files(tests, network, loggers, cluster)
        return any(path.endswith(lock) for path in names)

    assert is_among(**{extra: True})
    assert is_among(tests=True)
    assert not is_among()
    assert not is_among(network=True)
    assert not is_among(**{"loggers" if extra == "cluster" else "cluster": True})
