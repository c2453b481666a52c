"""Libraries that only some readers need: an extra, installed by one command."""

from __future__ import annotations

from importlib.util import find_spec

from pipeline.intake.loggers.recording import MissingExtraError

COMMAND = "python3 -m pipeline install-loggers"


def need(library: str, kind: str) -> None:
    """Raise MissingExtraError where a library is not installed."""
    if find_spec(library) is None:
        raise MissingExtraError(
            f"a {kind} is read through libraries that are not installed (the extra "
            f"pipeline/requirements-loggers.txt); install them once: {COMMAND}"
        )
