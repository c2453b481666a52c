"""Names of files that are saved from a page."""

from __future__ import annotations


def stem(identifier: str) -> str:
    """An identifier as part of a file's name: letters, digits, and ``_`` for anything else."""
    return "".join(c if c.isalnum() or c in "-_." else "_" for c in identifier)
