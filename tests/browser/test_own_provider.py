"""A shop without a provider sets one up of well-kept parts: tried end to end where it is there."""

from __future__ import annotations

import pytest

from tests.browser import own_provider
from tests.browser.network_shop import certify, network_shop, tablet_at
from tests.browser.own_provider import PASSWORD, PERSON
from tests.browser.served import HOST, free_port
from tests.browser.test_walk import heading

pytestmark = [
    pytest.mark.browser,
    pytest.mark.long,
    pytest.mark.skipif(
        not own_provider.COMMAND,
        reason="Canaille is not installed; WEAR_ATLAS_CANAILLE names its command",
    ),
]
PEOPLE = f"""
[[person]]
name = "Tom Lind"
subject = "{PERSON}"
part = "technician"
shops = "all"
"""


def _give_password(page, *, word: str = PASSWORD) -> None:
    page.get_by_role("button", name="Sign in").click()
    page.locator("input[name=login]").fill(PERSON)
    page.locator("input[name=login]").press("Enter")
    page.locator("input[name=password]").fill(word)
    page.locator("input[name=password]").press("Enter")


def test_a_person_signs_in_with_a_password_that_only_the_provider_knows(chromium, demo, tmp_path):
    authority = certify(tmp_path)
    ports = free_port(), free_port()
    callback = f"https://{HOST}:{ports[1]}/oauth2callback"
    with (
        own_provider.own_provider(tmp_path, ports[0], callback, authority) as metadata_url,
        network_shop(
            demo,
            tmp_path,
            metadata_url=metadata_url,
            provider_port=ports[0],
            port=ports[1],
            people=PEOPLE,
            provider_authority=str(authority),
        ) as shop,
        tablet_at(chromium, shop) as page,
    ):
        page.goto("/bench?unit=U-002")
        _give_password(page, word="wrong")
        page.get_by_text("Login failed").wait_for()
        page.goto("/bench?unit=U-002")
        _give_password(page)
        heading(page, "Bench test of bike harrow 2")
        page.get_by_text("Tom Lind").wait_for()
        page.get_by_role("link", name="Sign out").click()
        page.get_by_role("button", name="Sign in").wait_for()
        page.get_by_role("button", name="Sign in").click()
        page.locator("input[name=login], input[name=password]").first.wait_for()  # asked anew
        log = shop.log.read_text()
        assert PASSWORD not in log
        assert "Traceback" not in log
