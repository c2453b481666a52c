"""Finding a bike by what a scanner types or a person remembers."""

import pytest

from dashboard.parts.find_bike import scanned


@pytest.mark.parametrize(
    ("typed", "bike"),
    [
        ("U-001", "U-001"),
        (" U-001\n", "U-001"),
        ("http://192.168.1.20:8650/bench?unit=U-001", "U-001"),
        ("https://shop.example/bench?x=1&unit=B%2E1", "B.1"),
        ("/bench?unit=", "/bench?unit="),
    ],
)
def test_a_tag_s_address_gives_the_bike_and_anything_else_stays(typed, bike):
    assert scanned(typed) == bike
