"""Wear views made up from the declared schemas."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd

from models.wear.schemas import BANDS, WEAR_MAP
from pipeline.access import wear_view as access
from pipeline.access.wear_view import OneSensor, WearView
from pipeline.warehouse.wear_schemas import (
    WEAR_ABOUT,
    WEAR_GATHERED,
    WEAR_PASSES,
    WEAR_STRETCHES,
)
from tests.dashboard.fake_views import HOSTILE, edition, one, rows

EDGES = np.arange(50) * 2.0


def cells(blank_from_pct: float = 90.0) -> pd.DataFrame:
    """Two ages; worn at 10 to 14 % in the older one, nothing seen from `blank_from_pct` on."""
    edge, age = np.tile(EDGES, 2), np.repeat([0.0, 10_000.0], 50)
    worn = (age > 0) & (edge >= 10) & (edge < 14)
    value = np.where(worn, 0.05, 0.0005)
    value = np.where(edge >= blank_from_pct, np.nan, value)
    return rows(
        WEAR_MAP,
        100,
        part_no="P-1",
        duty="courier",
        age_from_km=age,
        age_to_km=age + 10_000.0,
        bin_from_pct=edge,
        n_sensors=np.where(edge >= blank_from_pct, 0, 12),
        dropout_count=np.where(worn, 4, 0),
        intensity=value,
        intensity_low=value / 2,
        intensity_high=value * 2,
        roughness=np.where(worn, 1.4, 0.95),
    )


def choices() -> pd.DataFrame:
    return rows(
        WEAR_GATHERED,
        4,
        part_no=["all", "P-1", "P-1", "P-2"],
        duty=["all", "all", "courier", "all"],
        answer=["concentrated", "flat", "concentrated", "not enough known"],
        p_value=[0.0025, 0.2, 0.01, None],
        from_pct=[4.0, 10.0, 10.0, None],
        to_pct=[28.0, 14.0, 14.0, None],
        ratio=[2.9, 1.4, 8.3, None],
        n_sensors=[102, 20, 15, 3],
        n_seen=[250, 60, 21, 13],
        n_tests=[1069, 200, 113, 53],
    )


def sensors(count: int = 3) -> pd.DataFrame:
    number = np.arange(count)
    return rows(
        access.WEAR_SENSORS,
        count,
        sensor_id=[f"S-{n:03d}" for n in number],
        life_id=[f"S-{n:03d}" for n in number],
        unit_id=[f"U-{n:03d}" for n in number],
        label=HOSTILE,
        n_tests=4,
        confidence=np.where(number < 2, 1.0, 0.2),
        peak_pct=6.3,
        peak_low_pct=5.0,
        peak_high_pct=8.0,
        from_pct=5.2,
        to_pct=7.5,
        level=2.75,
        at_stop=False,
        further_bands=0,
        sensor_age_km=11_963.0,
        moved_pct_per_1000km=-0.2,
        moved_low=-1.0,
        moved_high=0.5,
        answer="km expected",
        fails_at_km=14_606.0,
        fails_low_km=12_231.0,
        fails_high_km=28_053.0,
    )


def profiles(tests: int = 2, fleet: bool = True) -> pd.DataFrame:
    """The last test has a rough cell with drop-outs at 10 %; the cells at the stops are blank."""
    number, edge = np.repeat(np.arange(tests), 50), np.tile(EDGES, tests)
    rough = np.where((number == tests - 1) & (edge == 10), 2.5, 1.0)
    return rows(
        access.WEAR_PROFILE_ROWS,
        50 * tests,
        session_id=[f"T-{n:03d}" for n in number],
        tested_on=pd.Timestamp("2025-01-01") + pd.to_timedelta(100 * number, unit="D"),
        sensor_age_km=5_000.0 + 1_000.0 * number,
        bin_from_pct=edge,
        exposure=np.where(edge == 98, 0.0, 4.0),
        roughness=np.where((edge == 0) | (edge == 98), np.nan, rough),
        dropout_count=np.where(rough > 2, 3, 0),
        fleet_low=0.8 if fleet else None,
        fleet_high=1.2 if fleet else None,
        fleet_sensors=60 if fleet else 0,
    )


def bands() -> pd.DataFrame:
    return rows(
        BANDS,
        2,
        session_id=["T-000", "T-001"],
        confidence=[0.3, 0.95],
        from_pct=9.0,
        to_pct=13.0,
        band_no=1,
    )


def stretches() -> pd.DataFrame:
    return rows(
        WEAR_STRETCHES,
        2,
        stretch_no=[1, 2],
        from_pct=[4.0, 96.0],
        to_pct=[8.0, 100.0],
        share=[0.7, 0.12],
        rate_hz=50.0,
    )


def passes() -> pd.DataFrame:
    return rows(
        WEAR_PASSES,
        3,
        rate_hz=50.0,
        width_pct=[0.2, 1.0, 2.0],
        answer=["cannot be reached with this logger", "passes", "passes"],
        passes=[0, 3, 3],
        speed_pct_per_s=[4.0, 30.0, 30.0],
    )


def use(logged: bool = True) -> pd.DataFrame:
    return rows(
        access.WEAR_USE,
        50,
        bin_from_pct=EDGES,
        sensor_share=np.where(EDGES == 6, 0.51, 0.01),
        like_share=0.02,
        like_low=0.01,
        like_high=0.04,
        like_duty="courier",
        like_sensors=46,
        dwell=np.where(EDGES == 4, 0.23, 0.0157) if logged else None,
        sliding=np.where(EDGES == 8, 0.21, 0.0161) if logged else None,
        logged_s=359.0 if logged else None,
        rate_hz=1.0 if logged else None,
    )


def about(**values) -> dict:
    known = {
        "reason": None,
        "n_seen": 250,
        "n_tests": 1069,
        "dropout_count": 931,
        "use_answer": "not enough known",
        "use_n_bikes": 2,
        "n_logged": 5,
    }
    return one(WEAR_ABOUT, **(known | values))


def one_sensor(**values) -> OneSensor:
    parts = {
        "sensor": sensors(1).to_dict("records")[0],
        "profiles": profiles(),
        "bands": bands(),
        "stretches": stretches(),
        "passes": passes(),
        "use": use(),
    }
    return OneSensor(**(parts | values))


def wear_view(**values) -> WearView:
    parts = {
        "edition": edition(),
        "about": about(),
        "choices": choices(),
        "part_no": "P-1",
        "duty": "courier",
        "cells": cells(),
        "sensors": sensors(),
        "one": one_sensor(),
    }
    return WearView(**(parts | values))


def without_a_map() -> WearView:
    return wear_view(
        about=about(reason="no bench test with a measured sweep to map"),
        choices=WEAR_GATHERED.empty(),
        cells=WEAR_MAP.empty(),
        sensors=access.WEAR_SENSORS.empty(),
        one=None,
    )


def replaced(view: WearView, **values) -> WearView:
    return dataclasses.replace(view, **values)
