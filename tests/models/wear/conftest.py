"""Fleets fitted once for all tests of the wear map."""

from types import SimpleNamespace

import pytest

from models.wear.bands import WornBands
from models.wear.surface import WearSurface
from tests.models.wear.simulated_wear import Truth, simulate_wear

FOLLOWED = {"near_defect": True, "spacing_km": 1500.0, "tests": (4, 8)}


def fitted(sensors, seed, truth):
    fleet = simulate_wear(sensors, seed, truth)
    records = fleet.records
    surface = WearSurface().fit(records.tests, records.counts, records.exposure)
    pooled = surface.predict_wear(records.tests)
    bands = WornBands().fit(records, pooled, surface.strays_.rate)
    return SimpleNamespace(
        fleet=fleet,
        records=records,
        surface=surface,
        pooled=pooled,
        bands=bands,
        found=bands.predict(records, pooled),
    )


@pytest.fixture(scope="session")
def followed():
    """150 sensors followed through their defect, tested every 1,500 km."""
    return fitted(150, 70_001, Truth(**FOLLOWED))


@pytest.fixture(scope="session")
def two_bands():
    return fitted(120, 70_002, Truth(bands=2, **FOLLOWED))


@pytest.fixture(scope="session")
def sound():
    return fitted(120, 70_003, Truth(bands=0, **FOLLOWED))


@pytest.fixture(scope="session")
def moving():
    return fitted(150, 70_004, Truth(move_pct_per_1000km=0.8, **FOLLOWED))
