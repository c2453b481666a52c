"""What repairs came to: how often no fault was found, and how often a job came back."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from models.repairs.rates import COMEBACK_DAYS, REPAIR_JOBS, repair_rates
from pipeline.access.reading import Edition, edition_of, read_frame, reading
from pipeline.home import Home


@dataclass(frozen=True)
class RepairsView:
    """``rates`` REPAIR_RATES of all closed jobs.

    ``linked`` jobs that a later one names; ``comeback_days`` within which one counts as come back.
    """

    edition: Edition
    rates: pd.DataFrame
    linked: int
    comeback_days: int


def repairs_view(home: Home) -> RepairsView:
    """Everything the page of repairs shows.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home) as (manifest, connection):
        edition = edition_of(home, manifest)
        jobs = read_frame(connection, "repair_jobs", REPAIR_JOBS)
        return RepairsView(
            edition,
            repair_rates(jobs, pd.Timestamp(edition.as_of)),
            int(jobs["came_back_on"].notna().sum()),
            COMEBACK_DAYS,
        )
