"""Set up the virtual environment and start the rest inside it.

Standard library only, and plain enough syntax for an old Python to read, so that whoever has
the wrong one is told so in a sentence and not by a SyntaxError. Every command of the project
(``python3 -m dashboard``, ``-m pipeline``, ``-m tests``) comes through :func:`enter`.
"""

import hashlib
import os
import shutil
import subprocess
import sys

CHECKOUT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
VENV = os.path.join(CHECKOUT, ".venv")
OLDEST_PYTHON = (3, 11)
TEST_REQUIREMENTS = os.path.join("tests", "requirements.txt")
NETWORK_REQUIREMENTS = os.path.join("dashboard", "requirements-network.txt")
LOGGER_REQUIREMENTS = os.path.join("pipeline", "requirements-loggers.txt")
CLUSTER_REQUIREMENTS = os.path.join("pipeline", "requirements-cluster.txt")


class SetUpError(Exception):
    """Set-up cannot go on; the message is the one sentence to show."""


def enter(
    module: str,
    for_tests: bool = False,
    for_network: bool = False,
    for_loggers: bool = False,
    for_cluster: bool = False,
) -> None:
    """Return when running inside a ready environment; otherwise make it and start again there.

    ``module`` is the package to run again (``dashboard``). ``for_tests`` also installs what only
    the tests need, ``for_network`` what only signing in needs, ``for_loggers`` what only some files
    of loggers need, ``for_cluster`` what only sharing work among machines needs. Ends the process
    with one clear sentence where set-up is not possible.
    """
    try:
        _refuse_old_python()
        _make_ready(_requirement_files(for_tests, for_network, for_loggers, for_cluster))
    except SetUpError as error:
        sys.exit("Wear Atlas cannot start: " + str(error))
    if not _inside():
        _start_again(module)


def _refuse_old_python() -> None:
    if sys.version_info < OLDEST_PYTHON:
        wanted = ".".join(str(part) for part in OLDEST_PYTHON)
        found = ".".join(str(part) for part in sys.version_info[:2])
        raise SetUpError("it needs Python " + wanted + " or newer, this is " + found + ".")


def _requirement_files(
    for_tests: bool, for_network: bool, for_loggers: bool, for_cluster: bool
) -> list:
    names = ["requirements.txt"]
    names += [NETWORK_REQUIREMENTS] if for_network or for_tests else []
    names += [LOGGER_REQUIREMENTS] if for_loggers or for_tests else []
    names += [CLUSTER_REQUIREMENTS] if for_cluster or for_tests else []
    names += [TEST_REQUIREMENTS] if for_tests else []
    return [os.path.join(CHECKOUT, name) for name in names]


def _make_ready(requirement_files: list) -> None:
    """Make `.venv` and install what is missing; a stamp by content makes the next start quick."""
    if not os.path.exists(_venv_python()):
        _make_venv()
    for path in requirement_files:
        stamp = os.path.join(VENV, "installed-" + _digest(path))
        if not os.path.exists(stamp):
            _install(path)
            open(stamp, "w").close()


def _make_venv() -> None:
    print("Making the environment in .venv ...", flush=True)
    shutil.rmtree(VENV, ignore_errors=True)
    done = subprocess.run(  # noqa: S603 - fixed arguments
        [sys.executable, "-m", "venv", VENV], stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    if done.returncode != 0:
        shutil.rmtree(VENV, ignore_errors=True)
        last = done.stdout.decode(errors="replace").strip().splitlines()[-1:]
        raise SetUpError(
            "Python's venv module is missing or does not work (on Debian and Ubuntu: "
            "apt install python3-venv). Python said: " + " ".join(last)
        )


def _install(path: str) -> None:
    name = os.path.relpath(path, CHECKOUT)
    print("Installing " + name + " (once, about a minute) ...", flush=True)
    # a file whose hash is not in the lock is refused, whoever serves it
    hashed = ["--require-hashes", "-r", path]
    command = [_venv_python(), "-m", "pip", "install", "--quiet", *hashed]
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)  # noqa: S603
    if done.returncode != 0:
        lines = done.stdout.decode(errors="replace").strip().splitlines()
        errors = [line for line in lines if line.startswith("ERROR")] or lines
        raise SetUpError("installing " + name + " failed: " + " ".join(errors[-1:]))


def _digest(path: str) -> str:
    with open(path, "rb") as file:
        return hashlib.sha256(file.read()).hexdigest()[:16]


def _venv_python() -> str:
    parts = ("Scripts", "python.exe") if os.name == "nt" else ("bin", "python")
    return os.path.join(VENV, *parts)


def _inside() -> bool:
    return os.path.realpath(sys.prefix) == os.path.realpath(VENV)


def _start_again(module: str) -> None:
    """Run ``python -m module`` with the same arguments inside the environment."""
    where = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = CHECKOUT if not where else CHECKOUT + os.pathsep + where
    command = [_venv_python(), "-m", module, *sys.argv[1:]]
    if os.name == "nt":  # Windows has no exec that keeps the console: wait for the child instead
        sys.exit(subprocess.call(command))  # noqa: S603
    os.execv(command[0], command)  # noqa: S606
