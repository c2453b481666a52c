"""A tiny shop with counts, first visits and a repeat, for the tests of the parts stock."""

from __future__ import annotations

from datetime import date

from tests.pipeline.shop_files import SHOP

DAY = date(2026, 6, 1)
FILES = SHOP | {
    "units": SHOP["units"] + "B3,s1,,,alder,tour,2024-01-01\nB4,s1,f1,,alder,tour,2024-01-01\n",
    "parts": (
        "part_no,description,kind,output,unit_price,pack_size,lead_time_days\n"
        "P1,sensor,potentiometer,rising,80,2,14\nP2,sealed,potentiometer,rising,90,1,\n"
    ),
    "sensors": SHOP["sensors"]
    + (
        "S3,B3,throttle,P1,unknown,,\nS4,B4,throttle,P1,unknown,,\n"
        "S5,B3,throttle,P1,fitted_here,2025-02-03,9000\n"
    ),
    "test_sessions": SHOP["test_sessions"]
    + (
        "T4,S3,s1,2025-02-01T09:00:00+00:00,9000,first_visit,5.01,,fail\n"
        "T5,S4,s1,2025-03-01T09:00:00+00:00,4000,first_visit,5.01,,pass\n"
    ),
    "repair_outcomes": SHOP["repair_outcomes"]
    + "R2,S3,T4,2025-02-03,9000,sensor_replaced,yes,opened,no\n",
    "stock": (
        "shop_id,part_no,counted_on,on_hand,on_order,order_due_on\n"
        "s1,P1,2026-01-02,9,0,\ns1,P1,2026-05-11,1,2,2026-06-10\ns1,P1,2027-01-02,7,0,\n"
    ),
}
