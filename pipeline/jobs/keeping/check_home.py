"""Check a data home: is everything handed in still as it came, and all else made from it whole?"""

from __future__ import annotations

from contextlib import suppress

from pipeline.home import Home, HomeError
from pipeline.jobs.keeping.check_derived import derived_findings, kept_findings
from pipeline.jobs.keeping.check_handed_in import deed_findings, handed_in_findings
from pipeline.jobs.keeping.check_published import published_findings
from pipeline.jobs.keeping.findings import Finding
from pipeline.jobs.progress import LongWork


def check_home(home: Home, *, work: LongWork | None = None) -> list[Finding]:
    """Look through a home in use or not; nothing is changed, save that damaged versions are marked.

    Parameters
    ----------
    home : Home
        Started, and not of a newer layout.
    work : LongWork, optional
        Who is told of what is looked at, and how far it is.

    Returns
    -------
    What is not as it ought to be: what only a copy can mend first.
    """
    work = work or LongWork()
    found = handed_in_findings(home, work)
    known = {finding.where for finding in found}
    parents = {where.rpartition("/")[0] for where in known}
    found += [
        deed
        for deed in deed_findings(home)
        if deed.where not in known and deed.where.rpartition("/")[0] not in known | parents
    ]
    with suppress(HomeError):  # a hand-in's damaged card, told of already
        found += derived_findings(home, work)
    with suppress(HomeError):
        found += published_findings(home, work)
    work.stage("Looking through what was advised")
    found += kept_findings(home)
    return sorted(found, key=lambda finding: (not finding.needs_copy, not finding.is_wrong))
