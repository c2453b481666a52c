import pytest

from dashboard.parts.sensor_list import action_mark, sensor_list, travel_strip
from dashboard.words import ACTIONS
from tests.dashboard.fake_views import HOSTILE, worklist_rows
from tests.dashboard.test_markup import read


def shown(**values) -> str:
    return sensor_list(worklist_rows(1).assign(**values))


def test_a_row_leads_to_its_bike_and_to_its_last_test():
    assert read(shown()).links == ["bike?unit=U-000", "session?session=T-000"]


def test_the_event_is_named_with_every_chance():
    text = " ".join(read(shown()).text)
    assert "Chance of a defect now about 4 in 100, likely 2 to 7" in text
    assert "Chance of a defect now or within 5,000 km about 11 in 100, likely 7 to 18" in text
    assert "Chance of a defect now, if silence told nothing about 9 in 100" in text
    assert "Chance of a road failure within 90 days about 6 in 100, likely 3 to 12" in text


def test_a_record_that_waits_is_named_with_why_before_anything_is_opened():
    html = shown(waiting="test T-9 waits for sensors S-9\ntest T-10: no odometer\nthird\nfourth")
    before = html.split("<details")[0]
    assert "<li>test T-9 waits for sensors S-9</li><li>test T-10: no odometer</li>" in before
    assert "and 2 more records, below" in before
    assert "<li>fourth</li>" in html


def test_faults_elsewhere_stand_beside_the_advice():
    assert "Settle first: </" not in shown()
    assert "Settle first: Supply 4.2 V, below range." in shown(
        look_elsewhere="Supply 4.2 V, below range."
    )


def test_hostile_text_stays_text():
    names = ["label", "headline", "reasons", "waiting", "look_elsewhere", "fleet_id", "shop_name", "part_no",
             "model_code", "risk_basis", "mount", "duty", "last_verdict"]  # fmt: skip
    seen = read(shown(**dict.fromkeys(names, HOSTILE)))
    assert "script" not in seen.tags
    assert seen.links == ["bike?unit=U-000", "session?session=T-000"]


def test_a_sensor_never_tested_says_so():
    html = shown(
        last_session_id=None, last_tested_on=None, last_dropout_count=None, defect_now=None
    )
    text = " ".join(read(html).text)
    assert "Last test none on record" in text
    assert "Chance of a defect now not known" in text
    assert "nan" not in text.lower().split()


@pytest.mark.parametrize("action", ACTIONS)
def test_each_action_has_its_word_and_a_mark_of_its_own(action):
    html = action_mark(action)
    assert ACTIONS[action] in html
    assert f"wa-mark-{action.replace('_', '-')}" in html


def test_the_strip_marks_the_place_and_is_absent_where_it_is_not_known():
    assert "left:22%" in travel_strip(22.4)
    assert "left:100%" in travel_strip(104)
    assert travel_strip(float("nan")) == ""
