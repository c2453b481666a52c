import dataclasses

from dashboard.wear_part import tracks
from tests.dashboard.fake_views import HOSTILE, bike_wear


def test_each_sensor_is_told_where_to_sweep_slowest_and_how_often():
    text = tracks(bike_wear())
    assert text.count("Sweep slowest at 4 to 8 % of travel") == 2
    assert text.count("To be 95 % sure to see wear 1 % wide there") == 2


def test_a_sensor_not_swept_yet_has_no_band_of_its_own():
    own, new = tracks(bike_wear()).split("Sensor S-001")
    assert "Worn band" in own
    assert 'href="wear?life=S-000%2F2"' in own
    assert "It has not been swept yet" in new
    assert "none of its own" in new
    assert 'href="wear"' in new


def test_record_text_is_never_markup():
    wear = bike_wear()
    hostile = wear.stretches.assign(sensor_id=HOSTILE)
    assert "<script>" not in tracks(dataclasses.replace(wear, stretches=hostile))
