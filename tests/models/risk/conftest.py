"""One small fleet whose sensors roughen, as the risk models are handed it, and its fit."""

import pytest

from models.risk.fit import fit_risk
from models.risk.schemas import SENSORS_NOW, WEAR_READINGS
from tests.models.risk.wearing_fleet import simulate_wearing_fleet


@pytest.fixture(scope="session")
def wearing_records():
    fleet = simulate_wearing_fleet(60, 5)
    return {
        "windows": fleet.windows,
        "sensors_now": SENSORS_NOW.check(fleet.sensors_now),
        "contact_gaps": fleet.contact_gaps,
        "wear_readings": WEAR_READINGS.check(fleet.wear_readings),
    }


@pytest.fixture(scope="session")
def wearing_fit(wearing_records):
    return fit_risk(**wearing_records)
