"""What was scored with which fit: named in every row, and told in one table."""

from __future__ import annotations

import duckdb
import pandas as pd

from models.frames import Column, FrameSchema
from models.risk.evidence_moved import moved
from pipeline.statements import store
from pipeline.warehouse.fitted import Fit
from pipeline.warehouse.lives import RiskFrames

RISK_FIT = FrameSchema(
    "risk_fit",
    "the fit that all sensors were scored with",
    (
        Column("fit_version", "text", "its day and the beginning of its records' digest"),
        Column("fitted_as_of", "date", "day of the records it was made from"),
        Column("n_lives", "whole", "sensor lives it rests on"),
        Column("n_defects", "whole", "defects among them"),
        Column("n_tests", "whole", "tests with readings it rests on"),
        Column("why_fitted", "text", "why it was made at this build; blank if it stood", "", True),
        Column("defects_since", "whole", "defects new, changed or taken back since"),
        Column("km_since", "number", "km followed, new, changed or taken back since", "km"),
    ),
)


def store_fitted(
    connection: duckdb.DuckDBPyConnection, version: str, name: str, frame: pd.DataFrame
) -> None:
    """Keep a frame as ``marts.<name>``, each row naming the fit it was made with."""
    store(connection, name, frame.assign(fit_version=pd.Series(version, frame.index, dtype="str")))


def told_of_fit(fit: Fit, frames: RiskFrames) -> pd.DataFrame:
    """One row in the columns of ``RISK_FIT``."""
    lives = fit.evidence.lives
    since = moved(lives, frames.windows)
    row = {
        "fit_version": fit.version,
        "fitted_as_of": pd.Timestamp(fit.evidence.day),
        "n_lives": len(lives),
        "n_defects": int(lives["bad_km"].notna().sum()),
        "n_tests": fit.evidence.n_tests,
        "why_fitted": fit.why or None,
        "defects_since": since.defects,
        "km_since": since.km,
    }
    return RISK_FIT.check(pd.DataFrame([row]))
