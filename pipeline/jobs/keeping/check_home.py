"""Check a data home: is everything handed in still as it came, and all else made from it whole?"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

from pipeline.home import Home, HomeError
from pipeline.jobs.keeping.check_derived import derived_findings, kept_findings
from pipeline.jobs.keeping.check_handed_in import deed_findings, handed_in_findings
from pipeline.jobs.keeping.check_published import published_findings
from pipeline.jobs.keeping.findings import Finding


def check_home(home: Home, *, say: Callable[[str], None] = lambda text: None) -> list[Finding]:
    """Look through a home in use or not; nothing is changed, save that damaged versions are marked.

    Parameters
    ----------
    home : Home
        Started, and not of a newer layout.
    say : callable
        Takes a word on what is looked at.

    Returns
    -------
    What is not as it ought to be: what only a copy can mend first.
    """
    say("Looking through what was handed in")
    found = handed_in_findings(home)
    known = {finding.where for finding in found}
    parents = {where.rpartition("/")[0] for where in known}
    found += [
        deed
        for deed in deed_findings(home)
        if deed.where not in known and deed.where.rpartition("/")[0] not in known | parents
    ]
    say("Looking through what was made of it")
    with suppress(HomeError):  # a hand-in's damaged card, told of already
        found += derived_findings(home)
    say("Looking through what is published")
    with suppress(HomeError):
        found += published_findings(home)
    found += kept_findings(home)
    return sorted(found, key=lambda finding: (not finding.needs_copy, not finding.is_wrong))
