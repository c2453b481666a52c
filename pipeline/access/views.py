"""One function a view: all that a page shows, read from one published warehouse."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd

from pipeline.home import Home


@dataclass(frozen=True)
class Edition:
    """Which records a view was read from."""

    version: int
    built_at: str
    as_of: date
    is_demo: bool
    home: str


@dataclass(frozen=True)
class WorklistView:
    """The worklist. Frames: ``rows`` WORKLIST, ``set_aside`` SET_ASIDE; ``notices`` are sentences."""

    edition: Edition
    rows: pd.DataFrame
    set_aside: pd.DataFrame
    notices: list[str]
    summary: dict[str, float]


@dataclass(frozen=True)
class BikeView:
    """One bike's history. ``bike`` is one row of BIKE as a dict; frames as declared.

    ``sensors`` SENSOR_LIVES, ``tests`` BIKE_TESTS, ``repairs`` BIKE_REPAIRS, ``odometer``
    ODOMETER, ``readings`` BAND_READINGS, ``advice`` WORKLIST, ``set_aside`` SET_ASIDE.
    """

    edition: Edition
    bike: dict
    sensors: pd.DataFrame
    tests: pd.DataFrame
    repairs: pd.DataFrame
    odometer: pd.DataFrame
    readings: pd.DataFrame
    advice: pd.DataFrame
    set_aside: pd.DataFrame


@dataclass(frozen=True)
class SessionView:
    """One bench test. ``session`` and ``measures`` are one row of SESSION and MEASURES as dicts.

    ``measures`` is None and the sweep's frames are empty where no sweep was handed in. ``checks``
    CHECKS, ``next_look`` sentences in order, ``dropouts`` DROPOUTS, ``profile`` PROFILE,
    ``passes`` PASSES, ``findings`` FINDINGS, ``trace`` TRACE, ``set_aside`` SET_ASIDE,
    ``earlier`` BIKE_TESTS of the same sensor.
    """

    edition: Edition
    session: dict
    measures: dict | None
    checks: pd.DataFrame
    next_look: list[str]
    dropouts: pd.DataFrame
    profile: pd.DataFrame
    passes: pd.DataFrame
    findings: pd.DataFrame
    trace: pd.DataFrame
    earlier: pd.DataFrame
    set_aside: pd.DataFrame


class NotThereError(LookupError):
    """No published warehouse, or no such bike or test in it; the message says which."""


def worklist_view(home: Home) -> WorklistView:
    """Everything the worklist shows."""
    raise NotImplementedError


def bike_view(home: Home, unit_id: str) -> BikeView:
    """Everything one bike's page shows."""
    raise NotImplementedError


def session_view(home: Home, session_id: str) -> SessionView:
    """Everything one test's page shows."""
    raise NotImplementedError


def current_version(home: Home) -> int | None:
    """Number of the newest published warehouse, or None; cheap enough to ask on every run."""
    raise NotImplementedError
