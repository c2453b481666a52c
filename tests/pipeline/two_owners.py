"""Two owners' shops in one home, with two fleets and a bike that changed hands, for scope tests.

Every identifier, name and note carries its owner's mark (``nqr``, ``sqv``) or its fleet's (``rqd``,
``bqx``), so that a leak shows as that mark anywhere in what somebody is given.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

from pipeline.home import Home
from pipeline.intake.receive import receive
from pipeline.intake.typed.entries import save_entry
from pipeline.jobs.ingest import ingest
from tests.pipeline.shop_files import sweep_csv, write_files

DAY = date(2026, 6, 1)
FIRST, THEN, SINCE = (datetime(2026, *day, 9, tzinfo=UTC) for day in ((5, 1), (5, 20), (6, 1)))
_SESSIONS = (
    "session_id,sensor_id,shop_id,tested_at,odometer_km,reason,technician,supply_v,closed_v,"
    "open_v,sweep_channel,verdict,note\n"
)


def _test(name: str, sensor: str, shop: str, day: str, km: int, verdict: str = "pass") -> str:
    mark = shop or sensor
    return (
        f"{name},{sensor},{shop},{day}T09:00:00+00:00,{km},routine,{mark} hand,5.01,0.52,4.48,volt,"
        f"{verdict},note of {mark}\n"
    )


FILES = {
    "shops": "shop_id,name,bay_hours_per_day\nnqr,Nqr Lane,16\nsqv,Sqv Quay,16\n",
    "units": (
        "unit_id,shop_id,fleet_id,label,model_code,duty,in_service_on\n"
        "nqr-1,nqr,,NQR 1,alder,tour,2022-01-10\n"
        "sqv-1,sqv,,SQV 1,alder,tour,2022-01-10\n"
        "rqd-nqr,nqr,rqd,RQD NQR,alder,courier,2022-01-10\n"
        "rqd-sqv,sqv,rqd,RQD SQV,alder,courier,2022-01-10\n"
        "bqx-sqv,sqv,bqx,BQX SQV,alder,courier,2022-01-10\n"
        "mqv,nqr,,MV 1,alder,tour,2022-01-10\n"
    ),
    "parts": (
        "part_no,description,kind,output,unit_price,pack_size,lead_time_days\n"
        "P1,sensor,potentiometer,rising,80,2,14\n"
    ),
    "fitments": "part_no,model_code,mount\nP1,alder,throttle\n",
    "sensors": "sensor_id,unit_id,mount,part_no,origin,fitted_on,fitted_km\n"
    + "".join(
        f"{unit}-S,{unit},throttle,P1,fitted_here,2022-02-10,1000\n"
        for unit in ("nqr-1", "sqv-1", "rqd-nqr", "rqd-sqv", "bqx-sqv", "mqv")
    ),
    "test_sessions": _SESSIONS
    + _test("nqr-1-T1", "nqr-1-S", "nqr", "2025-01-10", 9000)
    + _test("nqr-1-T2", "nqr-1-S", "", "2026-01-10", 15000, "fail")
    + _test("sqv-1-T1", "sqv-1-S", "sqv", "2025-02-10", 8000)
    + _test("sqv-1-T2", "sqv-1-S", "", "2026-02-10", 14000, "fail")
    + _test("rqd-nqr-T1", "rqd-nqr-S", "nqr", "2025-03-10", 9000)
    + _test("rqd-sqv-T1", "rqd-sqv-S", "sqv", "2025-03-11", 9100)
    + _test("bqx-sqv-T1", "bqx-sqv-S", "sqv", "2025-03-12", 9200)
    + _test("nqr-mqv-T1", "mqv-S", "nqr", "2025-04-10", 9300),
    "sweeps": sweep_csv(
        *("nqr-1-T1", "nqr-1-T2", "sqv-1-T1", "sqv-1-T2", "rqd-nqr-T1", "rqd-sqv-T1"),
        "nqr-mqv-T1",
    ),
    "repair_outcomes": (
        "outcome_id,sensor_id,session_id,closed_on,odometer_km,action,fault_confirmed,"
        "confirmed_by,on_road\n"
        "nqr-1-R1,nqr-1-S,nqr-1-T2,2026-01-12,15000,sensor_cleaned,yes,bench_retest,yes\n"
        "sqv-1-R1,sqv-1-S,sqv-1-T2,2026-02-12,14000,sensor_cleaned,yes,bench_retest,no\n"
        "rqd-sqv-R1,rqd-sqv-S,,2026-02-13,14000,connector_repaired,no,,no\n"
    ),
    "odometer": (
        "unit_id,read_on,odometer_km\nnqr-1,2026-04-01,18000\nsqv-1,2026-04-02,17000\n"
        "rqd-nqr,2026-04-03,20000\nrqd-sqv,2026-04-04,21000\nbqx-sqv,2026-04-05,22000\n"
        "mqv,2026-04-06,19000\nsqv-1,2026-02-30,17000\n"
    ),
    "stock": (
        "shop_id,part_no,counted_on,on_hand,on_order\n"
        "nqr,P1,2026-04-01,3,0\nsqv,P1,2026-04-02,7,1\nsqv,P1,not a day,7,1\n"
    ),
    "calendar": (
        "unit_id,free_from,free_to\nrqd-nqr,2026-06-02,2026-06-20\nrqd-sqv,2026-06-03,2026-06-20\n"
        "bqx-sqv,2026-06-04,2026-06-20\n"
    ),
    "advice_answers": (
        "sensor_id,answered_at,answer,advised_action,reason,answered_by\n"
        "nqr-1-S,2026-04-20T09:00:00+00:00,overrule,replace,nqr reason,nqr owner\n"
        "sqv-1-S,2026-04-21T09:00:00+00:00,overrule,replace,sqv reason,sqv owner\n"
    ),
}
#: What each owner says of shops that parts may go to and come from; neither names the other.
CONSENTS = (
    '[transfers]\nnqr = ["third"]\nsqv = ["bqx-shop"]\n'
    '[transfers_taken]\nnqr = ["elsewhere"]\nsqv = ["bqx-shop"]\n'
)
#: The bike that changed hands, and what its new shop did with it.
MOVED = {
    "units": (
        "unit_id,shop_id,label,model_code,duty,in_service_on\n"
        "mqv,sqv,SQV MV,alder,tour,2022-01-10\n"
    ),
    "test_sessions": _SESSIONS + _test("sqv-mqv-T2", "mqv-S", "sqv", "2026-05-19", 19500),
    "odometer": "unit_id,read_on,odometer_km\nmqv,2026-05-20,19600\n",
    "sweeps": sweep_csv("sqv-mqv-T2"),
}
UNITS = ("nqr-1", "sqv-1", "rqd-nqr", "rqd-sqv", "bqx-sqv", "mqv")
SESSIONS = (
    *("nqr-1-T1", "nqr-1-T2", "sqv-1-T1", "sqv-1-T2", "rqd-nqr-T1", "rqd-sqv-T1", "bqx-sqv-T1"),
    *("nqr-mqv-T1", "sqv-mqv-T2", "nqr-1-T3", "sqv-1-T3", "rqd-sqv-T3"),
)


def fill(folder: Path) -> None:
    """Make the home, build it once, and type into it what no build holds yet."""
    home = Home(folder / "home").prepare(as_of=DAY)
    home.settings.write_text(CONSENTS, encoding="utf-8")
    receive(home, [write_files(folder / "first", FILES)], FIRST)
    ingest(home, [write_files(folder / "then", MOVED)], now=THEN)
    for shop in ("nqr", "sqv"):
        _typed_since(home, shop)
    rows = {
        "test_sessions": [_typed_test("rqd-sqv-T3", "rqd-sqv-S", "sqv", 23000)],
        "calendar": [
            {"unit_id": unit, "free_from": "2026-07-01", "free_to": "2026-07-09"}
            for unit in ("rqd-nqr", "rqd-sqv", "bqx-sqv")
        ],
    }
    save_entry(home, rows, now=SINCE)


def _typed_since(home: Home, shop: str) -> None:
    unit = {"unit_id": f"{shop}-9", "shop_id": shop, "label": f"{shop} nine", "model_code": "alder"}
    sensor = {
        "sensor_id": f"{shop}-9-S",
        "unit_id": f"{shop}-9",
        "mount": "throttle",
        "part_no": "P1",
        "origin": "unknown",
    }
    answer = {
        "sensor_id": f"{shop}-1-S",
        "answered_at": "2026-05-31T09:00:00+00:00",
        "answer": "overrule",
        "advised_action": "replace",
        "reason": f"{shop} typed",
        "answered_by": f"{shop} owner",
    }
    count = {"shop_id": shop, "part_no": "P1", "counted_on": "2026-05-30", "on_hand": 5}
    reading = {"unit_id": f"{shop}-1", "read_on": "2026-05-30", "odometer_km": 19900}
    rows = {
        "units": [unit],
        "sensors": [sensor],
        "test_sessions": [_typed_test(f"{shop}-1-T3", f"{shop}-1-S", shop, 20000)],
        "advice_answers": [answer],
        "stock": [count],
        "odometer": [reading],
    }
    sweep = sweep_csv(f"{shop}-1-T3").encode()
    save_entry(home, rows, files={f"sweeps-{shop}-1-T3.csv": sweep}, now=SINCE)


def _typed_test(name: str, sensor: str, shop: str, km: int) -> dict[str, object]:
    return {
        "session_id": name,
        "sensor_id": sensor,
        "shop_id": shop,
        "tested_at": "2026-05-31T10:00:00+00:00",
        "odometer_km": km,
        "supply_v": 5.0,
        "closed_v": 0.5,
        "open_v": 4.5,
        "sweep_channel": "volt",
        "verdict": "pass",
        "technician": f"{shop} hand",
        "note": f"{shop} typed",
    }
