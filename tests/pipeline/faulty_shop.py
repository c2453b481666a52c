"""A tiny shop handed in with faults: rows to correct, a row that waits, a sweep of no test."""

import shutil
from pathlib import Path

import pytest

from pipeline.home import Home
from tests.pipeline.shop_files import SHOP, hand_in, sweep_csv

FILES = {
    **SHOP,
    "stock": "shop_id,part_no,counted_on,on_hand\ns1,P1,2026-01-01,1.5\ns1,P1,2026-01-08,2\n",
    "odometer": SHOP["odometer"] + "B2,01.08.2025,21000\nB9,2025-08-01,100\n",
    "units-2": "unit_id,shop_id,model_code,model_year\nB3,s1,alder,2oo3\n",
    "sweeps": sweep_csv("T1", "T9"),
    "photo.csv": "a,b\n1,2\n",
}


@pytest.fixture(scope="session")
def faulty_home(built_once) -> Home:
    """The shop, published; not to be written to."""

    def fill(folder: Path) -> None:
        hand_in(Home(folder / "home").prepare(), folder / "a", FILES)

    return built_once("faulty", fill)


@pytest.fixture
def faulty_copy(faulty_home, tmp_path) -> Home:
    """The same shop, to be written to."""
    root = Path(tmp_path) / "faulty"
    shutil.copytree(faulty_home.root, root)
    return Home(root)
