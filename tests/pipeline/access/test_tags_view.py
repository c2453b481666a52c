"""Tags: which bikes there are, and what their codes say."""

from datetime import UTC, datetime

import pytest

from pipeline.access.tags_view import tag_content, tags_view
from pipeline.intake.typed.registering import save_bike
from tests.askers import HERE

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("base", "said"),
    [
        ("", "U.1"),
        ("http://192.168.1.20:8650", "http://192.168.1.20:8650/bench?unit=U.1"),
        ("https://shop.example/atlas/", "https://shop.example/atlas/bench?unit=U.1"),
    ],
)
def test_a_tag_holds_the_page_s_address_or_the_bare_number(base, said):
    assert tag_content("U.1", base) == said


def test_every_bike_in_service_has_a_tag_and_one_just_retired_none(stocked_copy):
    assert tags_view(stocked_copy, HERE).bikes["unit_id"].tolist() == ["B4", "B1", "B2", "B3"]
    new = {"unit_id": "N1", "shop_id": "s1", "model_code": "alder", "label": "Night 1"}
    save_bike(stocked_copy, new, now=NOW)
    gone = {"unit_id": "B2", "shop_id": "s1", "model_code": "alder"}
    save_bike(stocked_copy, gone | {"out_of_service_on": "2026-05-01"}, now=NOW)
    bikes = tags_view(stocked_copy, HERE).bikes
    assert bikes["unit_id"].tolist() == ["N1", "B4", "B1", "B3"]
    assert bikes["label"].iloc[0] == "Night 1"
