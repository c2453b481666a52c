"""Views made up from the declared schemas, with text that would break a page if it were markup."""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np
import pandas as pd

from models.frames import FrameSchema
from models.sweeps.schemas import DROPOUTS, FINDINGS, MEASURES, PASSES, PROFILE
from models.wear.schemas import BANDS
from pipeline.access import worklist_view as of
from pipeline.access.answers import answers_since_build
from pipeline.access.frames import view_schemas as schemas
from pipeline.access.views import (
    BikeView,
    Edition,
    NotThereError,
    SessionView,
)
from pipeline.access.wear_view import (
    WEAR_PROFILE_ROWS,
    WEAR_SENSORS,
    BikeWear,
    SweepPlan,
    TestWear,
)
from pipeline.access.worklist_view import WorklistView
from pipeline.intake.contract import ADVISED
from pipeline.statements import connect, store
from pipeline.warehouse.wear_schemas import WEAR_PASSES, WEAR_STRETCHES

HOSTILE = "<script>alert(1)</script> **bold** [x](http://elsewhere.example) &amp; $x$ :red[y]"
_FILL = {
    "text": "some text",
    "number": 0.25,
    "whole": 3,
    "flag": True,
    "date": pd.Timestamp("2026-03-14"),
    "moment": pd.Timestamp("2026-03-14T09:20:00Z"),
}


def rows(schema: FrameSchema, count: int = 1, **values) -> pd.DataFrame:
    """`count` rows that fit the schema, filled in by kind; `values` are scalars or lists."""
    frame = pd.DataFrame({c.name: [_FILL[c.kind]] * count for c in schema.columns})
    for name, value in values.items():
        assert name in frame, name
        frame[name] = value
    return schema.check(frame)


def worklist_rows(count: int = 4) -> pd.DataFrame:
    actions = ["replace", "test", "not_enough_known", "leave"]
    number = np.arange(count)
    return rows(
        schemas.WORKLIST,
        count,
        sensor_id=[f"S-{n:03d}" for n in number],
        unit_id=[f"U-{n:03d}" for n in number],
        label=[f"bike {n}" for n in number],
        shop_id=[f"shop-{n % 2}" for n in number],
        shop_name=["North Yard" if n % 2 else "South Yard" for n in number],
        fleet_id=[None if n % 3 else "river-fleet" for n in number],
        duty=[None if n % 4 == 3 else "courier" for n in number],
        mount="throttle",
        action=[actions[n % 4] for n in number],
        urgency=(count - number).astype(float),
        headline="Test: the last test is long ago.",
        reasons="The first reason.\nThe second reason.",
        look_elsewhere=None,
        waiting=None,
        defect_now=0.04,
        defect_now_low=0.02,
        defect_now_high=0.07,
        defect_now_if_silent=0.09,
        defect_now_if_all_heard=0.03,
        km_90_days=6782.0,
        road_90_days=0.06,
        road_90_days_low=0.03,
        road_90_days_high=0.12,
        odometer_stale=[n % 4 == 2 for n in number],
        defect_5000_km=0.11,
        defect_5000_km_low=0.07,
        defect_5000_km_high=0.18,
        last_session_id=[f"T-{n:03d}" for n in number],
        last_verdict="pass",
        last_conclusion="nothing_seen",
        last_dropout_count=0,
        last_dropout_travel_pct=None,
        km_since_test=2300.0,
        odometer_now_km=41000.0,
        above_floor=False,
        answer=None,
        answer_pending=False,
    )


def set_aside_rows(count: int = 1) -> pd.DataFrame:
    return rows(schemas.SET_ASIDE, count, reason="not a number; expected km", value=HOSTILE)


def edition(**values) -> Edition:
    known = {"version": 1, "built_at": "2026-03-15T08:00:00+00:00", "as_of": date(2026, 3, 15)}
    return Edition(**(known | {"is_demo": False, "home": "somewhere"} | values))


def worklist_view(frame: pd.DataFrame | None = None, **values) -> WorklistView:
    """The head of a worklist of these rows."""
    frame = worklist_rows() if frame is None else frame
    set_aside = values.get("set_aside", set_aside_rows(0))
    of_action = frame["action"].value_counts()
    parts = {
        "edition": edition(),
        "summary": {
            "sensors": len(frame),
            "bikes": frame["unit_id"].nunique(),
            "set_aside": len(set_aside),
            **{action: int(of_action.get(action, 0)) for action in ADVISED},
        },
        "choices": frame[schemas.WORKLIST_CHOICES.names].drop_duplicates(ignore_index=True),
        "set_aside": set_aside,
        "notices": [],
    }
    return WorklistView(**(parts | values))


def warehouse_of(frame: pd.DataFrame) -> duckdb.DuckDBPyConnection:
    """WORKLIST rows as a warehouse in memory, in the order in which a build keeps them."""
    connection = connect()
    connection.execute("create schema marts")
    store(connection, "worklist", frame)
    return connection


def show_worklist(monkeypatch, frame: pd.DataFrame | None = None, **values) -> WorklistView:
    """Stand a worklist in for the published one: its head, and its rows by the real statements."""
    frame = worklist_rows() if frame is None else frame
    view, warehouse = worklist_view(frame, **values), warehouse_of(frame)

    def leaf(home, asker, asked, number):
        return of.leaf_from(warehouse.cursor(), asked, number, answers_since_build(home, asker))

    def offered(home, asker, asked):
        return of.offered_from(warehouse.cursor(), asked, answers_since_build(home, asker))

    def found(home, asker, asked):
        return of.found_from(warehouse.cursor(), asked, answers_since_build(home, asker))

    monkeypatch.setattr(of, "worklist_view", lambda home, asker: view)
    monkeypatch.setattr(of, "worklist_leaf", leaf)
    monkeypatch.setattr(of, "worklist_offered", offered)
    monkeypatch.setattr(of, "worklist_found", found)
    monkeypatch.setattr(of, "worklist_set_aside", lambda home, asker: view.set_aside)
    return view


def one(schema: FrameSchema, **values) -> dict:
    return rows(schema, 1, **values).to_dict("records")[0]


def explained() -> pd.DataFrame:
    return rows(
        schemas.EXPLANATION,
        4,
        sensor_id="S-000",
        factor=["middle", "sign", "age", "repair"],
        change=[0.03, 0.5, -0.02, 0.0],
        words=["a middling sensor", "last test failed", "9,000 km run", "not repaired before"],
    )


def bike_view(unit_id: str = "U-001", **values) -> BikeView:
    advice = worklist_rows(2).assign(unit_id=unit_id)
    parts = {
        "edition": edition(),
        "bike": one(
            schemas.BIKE,
            unit_id=unit_id,
            label="bike 1",
            out_of_service_on=None,
            ahead_km_per_day=75.4,
            ahead_km_per_day_low=37.2,
            ahead_km_per_day_high=152.0,
            odometer_stale=False,
        ),
        "sensors": rows(schemas.SENSOR_LIVES, 2, in_service=[True, False], end_assumed=False),
        "tests": bike_tests(),
        "repairs": rows(
            schemas.BIKE_REPAIRS,
            3,
            action=["sensor_replaced", "sensor_cleaned", "no_fault_found"],
            event=["road_failure", "defect", None],
            session_id=["T-001", "T-002", None],
        ),
        "odometer": rows(
            schemas.ODOMETER,
            3,
            read_on=pd.to_datetime(["2025-03-01", "2025-09-01", "2026-03-01"]),
            odometer_km=[1000.0, 5000.0, 9000.0],
            source=["odometer", "test", "repair"],
        ),
        "readings": band_readings(),
        "advice": advice,
        "set_aside": set_aside_rows(0),
        "explained": explained(),
        "ahead": ahead(),
        "wear": bike_wear(),
    }
    return BikeView(**(parts | values))


def bike_wear() -> BikeWear:
    """One sensor with sweeps of its own and one without."""
    whose = {"sensor_id": ["S-000", "S-001"], "from_own_tests": [True, False], "rate_hz": 50.0}
    return BikeWear(
        rows(WEAR_SENSORS, 1, sensor_id="S-000", life_id="S-000/2", confidence=0.9),
        rows(WEAR_STRETCHES, 2, from_pct=4.0, to_pct=8.0, share=0.8, **whose),
        rows(WEAR_PASSES, 1, rate_hz=50.0, width_pct=1.0, answer="passes"),
    )


def ahead() -> pd.DataFrame:
    return rows(
        schemas.RISK_AHEAD,
        4,
        sensor_id=["S-000", "S-000", "S-001", "S-001"],
        horizon_kind=["km", "days"] * 2,
        horizon=[5000.0, 90.0] * 2,
        km=[5000.0, 6782.0] * 2,
        defect=0.12,
        defect_low=0.06,
        defect_high=0.25,
        road=0.04,
        road_low=0.02,
        road_high=0.07,
        odometer_stale=False,
    )


def bike_tests(count: int = 2) -> pd.DataFrame:
    return rows(
        schemas.BIKE_TESTS,
        count,
        session_id=[f"T-{n:03d}" for n in range(count)],
        verdict="suspect",
        conclusion="dropouts_seen",
        fault_nature="worn_track",
        dropout_peak_travel_pct=22.0,
        note=HOSTILE,
    )


def band_readings() -> pd.DataFrame:
    return rows(
        schemas.BAND_READINGS,
        4,
        tested_on=pd.to_datetime(["2025-03-01", "2025-09-01", "2026-03-01", "2026-03-01"]),
        reading=["track_ohm", "track_ohm", "track_ohm", "supply_v"],
        unit=["ohm", "ohm", "ohm", "V"],
        value=[4000.0, 4100.0, 5200.0, 5.01],
        low=[3500.0, 3500.0, 3500.0, None],
        high=[4600.0, 4600.0, 4600.0, None],
        source=["learned", "learned", "learned", None],
        sensor_count=[25, 25, 25, 0],
    )


def dropouts(count: int = 2) -> pd.DataFrame:
    number = np.arange(count)
    return rows(
        DROPOUTS,
        count,
        dropout_no=number + 1,
        start_s=1.0 + number,
        length_s=0.01,
        depth_pct=20.0 + number,
        travel_pct=22.0,
        direction="opening",
    )


def profile(cells: int = 50) -> pd.DataFrame:
    """Cells of travel: the last two without evidence, the last one not crossed at all."""
    edges = np.linspace(0, 100, cells + 1)
    number = np.arange(cells)
    return rows(
        PROFILE,
        cells,
        bin_from_pct=edges[:-1],
        bin_to_pct=edges[1:],
        smoothness_pct=np.where(number < cells - 2, np.where(number == 11, 1.5, 0.1), np.nan),
        pass_count=np.where(number < cells - 1, 4, 0),
        sample_count=np.where(number < cells - 1, 40, 0),
        dropout_count=np.where(number == 11, 2, 0),
    )


def trace(samples: int = 200) -> pd.DataFrame:
    time = np.linspace(0, 4, samples)
    return rows(
        schemas.TRACE,
        samples,
        sample_no=np.arange(samples),
        t_s=time,
        signal=0.5 + 4 * (1 - np.abs(time / 2 - 1)),
        signal_b=None,
        travel_pct=None,
    )


def measures(**values) -> dict:
    known = {
        "conclusion": "dropouts_seen",
        "fault_nature": "worn_track",
        "dropout_count": 2,
        "dropout_peak_travel_pct": 22.0,
        "covered_from_pct": 0.4,
        "covered_to_pct": 99.7,
        "shortest_visible_ms": 5.0,
        "narrowest_visible_pct": 0.3,
        "advice": None,
    }
    return one(MEASURES, **(known | values))


def checks() -> pd.DataFrame:
    return rows(
        schemas.CHECKS,
        3,
        step=[1, 2, 3],
        check=["supply", "fault_codes", "track_ohm"],
        state=["in_band", "out_of_band", "not_read"],
        value=[5.01, None, None],
        value_text=["5.010 V", "P0122", "not read"],
        unit=["V", None, "ohm"],
        low=[4.75, None, None],
        high=[5.25, None, None],
        text=["Supply is in range.", "Unplugging does not explain P0122.", "Track: not read."],
    )


def travel_band(cells: int = 50, high: float = 0.4) -> pd.DataFrame:
    edges = np.linspace(0, 100, cells + 1)
    return rows(
        schemas.TRAVEL_BANDS,
        cells,
        bin_from_pct=edges[:-1],
        bin_to_pct=edges[1:],
        high_pct=high,
        method="learned from 60 good sensors by rank, no curve assumed",
    )


def session_view(session_id: str = "T-001", **values) -> SessionView:
    parts = {
        "edition": edition(),
        "session": one(
            schemas.SESSION,
            session_id=session_id,
            unit_id="U-001",
            label="bike 1",
            mount="throttle",
            tested_at="2026-03-14T09:20:00+01:00",
            sweep_channel="volt",
            verdict="pass",
            note=HOSTILE,
        ),
        "measures": measures(),
        "checks": checks(),
        "next_look": ["See to the plug next."],
        "dropouts": dropouts(),
        "profile": profile(),
        "passes": rows(PASSES, 4),
        "findings": rows(FINDINGS, 1, text="3 samples go backwards in time."),
        "trace": trace(),
        "earlier": bike_tests(),
        "set_aside": set_aside_rows(0),
        "places": rows(schemas.SWEEP_PLACES, reading="smoothness_pct", value=0.2, high=0.4),
        "travel_band": travel_band(),
        "wear": wear_at_test(),
    }
    return SessionView(**(parts | values))


def wear_at_test(**values) -> TestWear:
    """This test, T-001, shows a band at 10 to 14 %; the one before it showed little."""
    edge = np.tile(np.arange(0.0, 100.0, 2.0), 2)
    number = np.repeat([0, 1], 50)
    parts = {
        "life_id": "S-000/2",
        "bands": rows(
            BANDS,
            2,
            session_id=["T-000", "T-001"],
            band_no=1,
            confidence=[0.3, 0.95],
            peak_pct=12.0,
            from_pct=10.0,
            to_pct=14.0,
            at_stop=False,
        ),
        "profiles": rows(
            WEAR_PROFILE_ROWS,
            100,
            session_id=[f"T-{n:03d}" for n in number],
            tested_on=pd.Timestamp("2025-01-01") + pd.to_timedelta(100 * number, unit="D"),
            bin_from_pct=edge,
            roughness=np.where((number == 1) & (edge == 12), 2.4, 1.0),
            fleet_low=0.7,
            fleet_high=1.4,
            fleet_sensors=60,
        ),
        "stretches": rows(WEAR_STRETCHES, 1, from_pct=10.0, to_pct=14.0, share=0.8, rate_hz=200.0),
        "plan": SweepPlan(1.0, 200.0, 31.0, 4, 0.79, 9),
    }
    return TestWear(**(parts | values))


def wear_without_sweep() -> TestWear:
    """The sensor's life goes on, but this test has no sweep."""
    return wear_at_test(bands=BANDS.empty(), profiles=WEAR_PROFILE_ROWS.empty(), plan=None)


def session_without_sweep(session_id: str = "T-001") -> SessionView:
    return session_view(
        session_id,
        measures=None,
        dropouts=DROPOUTS.empty(),
        profile=PROFILE.empty(),
        passes=PASSES.empty(),
        findings=FINDINGS.empty(),
        trace=schemas.TRACE.empty(),
        earlier=schemas.BIKE_TESTS.empty(),
        places=schemas.SWEEP_PLACES.empty(),
        travel_band=schemas.TRAVEL_BANDS.empty(),
        wear=wear_without_sweep(),
    )


def unknown(*_: object):
    raise NotThereError("The records hold no bike U-999.")
