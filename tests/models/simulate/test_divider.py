import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.simulate.divider import loaded_divider_v, open_ground_v, two_wire_ohm

BENCH = {"supply_v": 5.0, "track_ohm": 5000.0, "load_ohm": 100_000.0}


@pytest.mark.parametrize(
    ("contact_ohm", "volts"), [(0.0, 2.469), (1e3, 2.445), (1e4, 2.247), (1e5, 1.242)]
)
def test_half_travel_under_load_gives_the_worked_voltages(contact_ohm, volts):
    assert loaded_divider_v(0.5, contact_ohm=contact_ohm, **BENCH) == pytest.approx(volts, abs=5e-4)


def test_an_infinite_load_leaves_the_plain_divider():
    x = np.linspace(0, 1, 11)
    got = loaded_divider_v(x, supply_v=5.0, track_ohm=5000.0, load_ohm=1e15)
    np.testing.assert_allclose(got, 5.0 * x, atol=1e-9)


@given(x=st.floats(0.01, 0.99), contact=st.floats(0.0, 1e9))
def test_kirchhoffs_current_law_holds_at_the_wiper(x, contact):
    volts = float(loaded_divider_v(x, contact_ohm=contact, **BENCH))
    through_load = volts / BENCH["load_ohm"]
    wiper_v = volts + through_load * contact
    from_supply = (BENCH["supply_v"] - wiper_v) / ((1 - x) * BENCH["track_ohm"])
    to_ground = wiper_v / (x * BENCH["track_ohm"])
    assert from_supply - to_ground == pytest.approx(through_load, abs=1e-9)


def test_a_lost_ground_lifts_the_reading_and_a_lost_wiper_drops_it():
    sound = loaded_divider_v(0.5, **BENCH)
    assert open_ground_v(0.5, **BENCH) > sound > loaded_divider_v(0.5, contact_ohm=1e6, **BENCH)


def test_two_wire_ohms_add_up():
    assert two_wire_ohm(0.2, track_ohm=5000.0, contact_ohm=50.0, leads_ohm=0.3) == 1050.3
