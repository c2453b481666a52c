import pandas as pd
import pytest

from models.statics.schemas import READINGS


@pytest.fixture(scope="session")
def bench_tests():
    """Make READINGS from dicts; what is not given is blank."""

    def make(*given: dict) -> pd.DataFrame:
        filled = [
            {
                "session_id": f"t{number}",
                "sensor_id": f"s{number}",
                "part_no": "P1",
                "kind": "potentiometer",
                "output": "rising",
                "supply_nominal_v": 5.0,
            }
            | row
            for number, row in enumerate(given)
        ]
        return READINGS.check(pd.DataFrame(filled).reindex(columns=READINGS.names))

    return make
