"""What was scored with which fit: named in every row, and told in one table."""

from __future__ import annotations

from collections.abc import Iterable

import duckdb
import numpy as np
import pandas as pd

from models.risk.evidence_moved import moved
from models.risk.schemas import RISK_FIT
from pipeline.statements import store, store_parts
from pipeline.warehouse.fitted import Fit
from pipeline.warehouse.lives import RiskFrames


def store_fitted(
    connection: duckdb.DuckDBPyConnection, version: str | None, name: str, frame: pd.DataFrame
) -> None:
    """Keep a frame as ``marts.<name>``, each row naming the fit it was made with, if any."""
    store(connection, name, _naming(version, frame))


def store_fitted_parts(
    connection: duckdb.DuckDBPyConnection,
    version: str | None,
    name: str,
    parts: Iterable[pd.DataFrame],
) -> None:
    """The same of frames that come one after another, one in memory."""
    store_parts(connection, name, (_naming(version, part) for part in parts))


def _naming(version: str | None, frame: pd.DataFrame) -> pd.DataFrame:
    named = pd.Index([] if version is None else [version], dtype="str")
    place = np.full(len(frame), len(named) - 1, dtype=np.int8)
    return frame.assign(fit_version=pd.Categorical.from_codes(place, categories=named))


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
