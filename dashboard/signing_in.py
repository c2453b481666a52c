"""Who asks: the person at this machine."""

from __future__ import annotations

from pipeline.asker import Asker, whoever_is_here


def who_asks() -> Asker:
    """The one to whom this run of a page answers; an argument of every read and every entry."""
    return whoever_is_here()
