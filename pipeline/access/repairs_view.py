"""What repairs came to: how often no fault was found, how often a job came back, what was saved."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from models.frames import Column, FrameSchema
from models.plans.saved_so_far import ADVICE_OUTCOMES, SavedSoFar, saved_so_far
from models.plans.saving import EXPECTED_COST
from models.plans.settings import PlanSettings
from models.repairs.rates import COMEBACK_DAYS, REPAIR_JOBS, repair_rates
from models.risk.ahead import road_share
from pipeline.access.reading import Edition, edition_of, read_frame, reading
from pipeline.access.scope.allowed import view
from pipeline.access.what_if import built_with
from pipeline.asker import Asker
from pipeline.home import Home

_HEARD_OF = FrameSchema(
    "defects_heard_of",
    "one life whose defect was found",
    (
        Column("bad_km", "number", "age at the first test with it", "km"),
        Column("road_failure", "flag", "it let the rider down"),
        Column("heard", "flag", "a complaint or a road failure led to the finding", blank=True),
    ),
)


@dataclass(frozen=True)
class RepairsView:
    """``rates`` REPAIR_RATES of all closed jobs.

    ``linked`` jobs that a later one names; ``comeback_days`` within which one counts as come back;
    ``saved`` what the advice is estimated to have saved; ``expected`` EXPECTED_COST ahead;
    ``settings`` those that the version was built with.
    """

    edition: Edition
    rates: pd.DataFrame
    linked: int
    comeback_days: int
    saved: SavedSoFar
    expected: pd.DataFrame
    settings: PlanSettings


@view
def repairs_view(home: Home, asker: Asker) -> RepairsView:
    """Everything the page of repairs shows.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (manifest, connection):
        edition, settings = edition_of(home, manifest), built_with(connection)
        jobs = read_frame(connection, "repair_jobs", REPAIR_JOBS)
        outcomes = read_frame(connection, "advice_outcomes", ADVICE_OUTCOMES)
        share = road_share(read_frame(connection, "defects_heard_of", _HEARD_OF))
        return RepairsView(
            edition,
            repair_rates(jobs, pd.Timestamp(edition.as_of)),
            int(jobs["came_back_on"].notna().sum()),
            COMEBACK_DAYS,
            saved_so_far(outcomes, share, settings),
            read_frame(connection, "expected_cost", EXPECTED_COST),
            settings,
        )
