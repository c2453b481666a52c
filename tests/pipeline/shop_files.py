"""A tiny invented shop as contract files, for the tests to write, break and hand in."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from pipeline.home import Home
from pipeline.jobs.ingest import IngestReport, ingest
from pipeline.statements import connect

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)

SHOP = {
    "shops": "shop_id,name\ns1,Weir Lane\n",
    "units": (
        "unit_id,shop_id,fleet_id,label,model_code,duty,in_service_on\n"
        "B1,s1,f1,F-01,alder,courier,2022-01-10\nB2,s1,,,alder,tour,2021-05-01\n"
    ),
    "parts": "part_no,description,kind,output\nP1,sensor,potentiometer,rising\n",
    "sensors": (
        "sensor_id,unit_id,mount,part_no,origin,fitted_on,fitted_km\n"
        "S1,B1,throttle,P1,fitted_here,2022-01-10,1000\n"
        "S2,B2,throttle,P1,original,2021-05-01,0\n"
    ),
    "test_sessions": (
        "session_id,sensor_id,shop_id,tested_at,odometer_km,reason,supply_v,sweep_channel,verdict\n"
        "T1,S1,s1,2023-01-10T09:00:00+00:00,9000,routine,5.01,volt,pass\n"
        "T2,S1,s1,2024-01-10T09:00:00+00:00,17000,symptom,4.98,volt,fail\n"
        "T3,S2,s1,2024-03-01T10:00:00+01:00,12000,routine,5.00,,pass\n"
    ),
    "repair_outcomes": (
        "outcome_id,sensor_id,session_id,closed_on,odometer_km,action,fault_confirmed,"
        "confirmed_by,on_road\n"
        "R1,S1,T2,2024-01-12,17000,sensor_cleaned,yes,bench_retest,yes\n"
    ),
    "odometer": "unit_id,read_on,odometer_km\nB1,2025-06-01,26000\nB2,2025-07-01,20000\n",
}


def sweep_csv(*sessions: str, rate_hz: float = 100.0) -> str:
    """A clean slow sweep up and down, twice, for each session."""
    ramp = np.linspace(0.5, 4.5, int(4 * rate_hz))
    signal = np.concatenate([ramp, ramp[::-1], ramp, ramp[::-1]])
    lines = [f"{t / rate_hz:.3f},{v:.4f}" for t, v in enumerate(signal)]
    rows = [f"{session},{line}" for session in sessions for line in lines]
    return "session_id,t_s,signal\n" + "\n".join(rows) + "\n"


def write_files(folder: Path, files: dict[str, str | bytes]) -> Path:
    """Write files by name (``.csv`` is added to a bare name); return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        path = folder / (name if "." in name else f"{name}.csv")
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


def hand_in(home: Home, folder: Path, files: dict[str, str | bytes]) -> IngestReport:
    """Write files and take them in."""
    return ingest(home, [write_files(folder, files)], now=NOW)


def query(home: Home, report: IngestReport, sql: str) -> list[tuple]:
    """Rows of a query on the version that a hand-in published."""
    connection = connect(report.manifest.path, read_only=True)
    try:
        return connection.execute(sql).fetchall()
    finally:
        connection.close()
