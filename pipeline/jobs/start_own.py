"""Begin a shop's own records: a home of its own, empty and published at once."""

from __future__ import annotations

from pipeline.home import Home
from pipeline.jobs.ingest import rebuild
from pipeline.warehouse.publish import Manifest, newest


def start_own(home: Home) -> Manifest:
    """Make the home, if need be, and publish what it holds, empty as it may be.

    Every page can be opened from then on, and what is entered is taken up as in any other home.

    Raises
    ------
    HomeError
        The folder holds the demo shops, cannot be written, or is another builder's just now.
    """
    home.prepare()
    found = newest(home)
    return found if found is not None and found.is_current else rebuild(home)
