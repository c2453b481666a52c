import dataclasses

from dashboard.parts.wear_part import track_of_test, tracks
from pipeline.access.wear_view import SweepPlan
from pipeline.warehouse.wear_schemas import WEAR_STRETCHES
from tests.dashboard.fake_views import HOSTILE, bike_wear, wear_at_test, wear_without_sweep


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


def test_a_test_tells_its_band_against_earlier_tests_and_against_the_fleet():
    text = track_of_test(wear_at_test())
    assert "Worn band 10 to 14 % of travel, middle at 12 %" in text
    assert "After the test before it one was 30 in 100 sure." in text
    assert "up to 2.4 times its middle cell there" in text
    assert "of 60 sensors of its part that passed, 90 in 100 lie between 0.7 and 1.4" in text
    assert "Sweep slowest at 10 to 14 % of travel" in text
    assert (
        "takes 9 passes to be 95 % sure to see (this test&#x27;s 4 passes were 79 % sure)" in text
    )
    assert 'href="wear?life=S-000%2F2"' in text


def test_cells_of_other_places_and_earlier_tests_are_not_the_band_s():
    wear = wear_at_test()
    rough = wear.profiles["roughness"].where(wear.profiles["bin_from_pct"].ne(30.0), 5.0)
    text = track_of_test(wear_at_test(profiles=wear.profiles.assign(roughness=rough)))
    assert "up to 2.4 times" in text


def test_weak_evidence_in_a_test_is_no_word_of_a_sound_track():
    bands = wear_at_test().bands.assign(confidence=0.1)
    text = track_of_test(wear_at_test(bands=bands))
    assert "No worn band is shown by 2 tests" in text
    assert "no statement that the track is sound" in text
    assert "times its middle cell" not in text


def test_the_first_sweep_of_a_life_has_none_before_it():
    wear = wear_at_test()
    alone = wear_at_test(
        bands=wear.bands[wear.bands["session_id"].eq("T-001")],
        profiles=wear.profiles[wear.profiles["session_id"].eq("T-001")],
    )
    assert "first sweep of this life" in track_of_test(alone)


def test_a_test_without_a_sweep_still_says_where_to_sweep_next():
    text = track_of_test(wear_without_sweep())
    assert "no sweep that could be laid over the travel" in text
    assert "Sweep slowest at" in text
    assert 'href="wear"' in text


def test_a_life_that_is_over_is_not_told_where_to_sweep_next():
    text = track_of_test(wear_at_test(stretches=WEAR_STRETCHES.empty()))
    assert "Sweep slowest" not in text


def test_a_sweep_that_no_number_of_passes_makes_sure_is_told_what_to_change():
    text = track_of_test(wear_at_test(plan=SweepPlan(1.0, 8.0, 31.0, 1, 0.1, 0)))
    assert "no number of passes is 95 % sure" in text
    assert "1 pass was 10 % sure" in text
    assert "log faster, or sweep slower" in text
