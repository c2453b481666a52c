"""The shop's network in a real browser: over TLS, behind a provider of this machine's own."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Iterator

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from pipeline.asker import TECHNICIAN as TECHNICIANS_PART
from pipeline.asker import Asker
from tests.browser.axe_reading import broken_rules
from tests.browser.network_shop import (
    OWNER,
    PEOPLE,
    STRANGER,
    TECHNICIAN,
    UNVERIFIED,
    NetworkShop,
    network_shop,
    provider,
    sign_in,
    tablet_at,
)
from tests.browser.served import HOST
from tests.browser.test_technician_walk import walk_from_test_to_job
from tests.browser.test_walk import fits_and_can_be_pressed, heading, no_error
from tests.browser.tls_proxy import NGINX, nginx_proxy, tls_proxy

pytestmark = [pytest.mark.browser, pytest.mark.long]

ADDRESSES = (
    "bench", "register", "job", "tags", "bike?unit=U-002", "trust", "wear", "costs", "parts",
    "checks", "fleet", "repairs", "hand_in", "settings", "start", "session", "", "nowhere",
)  # fmt: skip
NOT_SIGNED_IN = "shown to those who have a part in it"


@pytest.fixture(scope="session")
def provider_port() -> Iterator[int]:
    with provider() as port:
        yield port


def _metadata(port: int) -> str:
    return f"http://localhost:{port}/.well-known/openid-configuration"


@pytest.fixture(scope="session")
def network(demo, provider_port, tmp_path_factory) -> Iterator[NetworkShop]:
    """Served once for all; only to be read."""
    folder = tmp_path_factory.mktemp("network")
    with network_shop(
        demo, folder, metadata_url=_metadata(provider_port), provider_port=provider_port
    ) as shop:
        yield shop


@pytest.fixture
def tablet(chromium, network) -> Iterator:
    with tablet_at(chromium, network) as page:
        yield page


def test_signed_in_from_a_scanned_tag_to_the_bench_and_out_again(tablet, network):
    tablet.goto("/bench?unit=U-002")
    tablet.get_by_text(NOT_SIGNED_IN).wait_for()
    assert tablet.get_by_text("harrow 2").count() == 0
    sign_in(tablet, TECHNICIAN)
    heading(tablet, "Bench test of bike harrow 2")  # back where the tag led
    tablet.get_by_text("Tom Lind").wait_for()
    no_error(tablet)
    fits_and_can_be_pressed(tablet)
    cookies = {cookie["name"]: cookie for cookie in tablet.context.cookies()}
    assert {"_streamlit_user", "_streamlit_xsrf"} <= set(cookies)
    assert all(c["secure"] and c["sameSite"] in ("Lax", "Strict") for c in cookies.values())
    assert cookies["_streamlit_user"]["httpOnly"]
    tablet.get_by_role("link", name="Sign out").click()
    tablet.get_by_role("button").first.click()  # the provider asks once more
    tablet.get_by_text(NOT_SIGNED_IN).wait_for()
    tablet.goto("/bench?unit=U-002")
    tablet.get_by_text(NOT_SIGNED_IN).wait_for()
    said = network.log.read_text()
    assert "told-to-nobody" not in said
    assert cookies["_streamlit_user"]["value"] not in said


def test_whoever_comes_first_after_a_start_is_asked_to_sign_in_at_every_address(
    chromium, demo, provider_port, tmp_path
):
    """The first run of a process is its own case: Streamlit does not know our pages yet."""
    with (
        network_shop(
            demo, tmp_path, metadata_url=_metadata(provider_port), provider_port=provider_port
        ) as shop,
        tablet_at(chromium, shop) as page,
    ):
        for address in ADDRESSES:
            page.goto(f"/{address}")
            page.get_by_text(NOT_SIGNED_IN).wait_for()
            assert page.locator(".wa-top").count() == 0, address


@pytest.mark.parametrize("who", [STRANGER, UNVERIFIED])
def test_who_has_no_part_sees_who_they_are_and_nothing_else(tablet, who):
    tablet.goto("/fleet")
    sign_in(tablet, who)
    heading(tablet, "You have no part here yet")
    tablet.get_by_text(who).first.wait_for()
    for address in ADDRESSES:
        tablet.goto(f"/{address}")
        heading(tablet, "You have no part here yet")
        assert tablet.locator(".wa-top").count() == 0, address
    fits_and_can_be_pressed(tablet)
    assert broken_rules(tablet) == []
    tablet.get_by_role("link", name="Sign out").click()
    tablet.get_by_role("button").first.click()
    tablet.get_by_text(NOT_SIGNED_IN).wait_for()


def test_a_part_that_is_taken_away_counts_from_the_next_press_on(
    chromium, demo, provider_port, tmp_path
):
    with (
        network_shop(
            demo, tmp_path, metadata_url=_metadata(provider_port), provider_port=provider_port
        ) as shop,
        tablet_at(chromium, shop) as page,
    ):
        page.goto("/bench")
        sign_in(page, OWNER)
        heading(page, "Test at the bench")
        shop.home.people.write_text(PEOPLE.replace(OWNER, "gone@workshop.example"))
        page.get_by_role("link", name="Fleet", exact=True).click()
        heading(page, "You have no part here yet")
        shop.home.people.write_text("[[person]\n")
        page.reload()
        heading(page, "Nobody is let in just now")
        assert "nobody is let in" in shop.log.read_text()
        shop.home.people.write_text(PEOPLE)
        page.reload()
        heading(page, "The fleet at a glance")


def test_a_sign_in_ends_by_itself_while_a_page_is_open(chromium, demo, provider_port, tmp_path):
    with (
        network_shop(
            demo,
            tmp_path,
            metadata_url=_metadata(provider_port),
            provider_port=provider_port,
            sign_in_hours=25 / 3600,
        ) as shop,
        tablet_at(chromium, shop) as page,
    ):
        page.goto("/bench?unit=U-002")
        sign_in(page, TECHNICIAN)
        heading(page, "Bench test of bike harrow 2")
        page.get_by_text(NOT_SIGNED_IN).wait_for(timeout=60_000)  # without a press
        assert page.get_by_text("harrow 2").count() == 0
        sign_in(page, TECHNICIAN)
        heading(page, "Bench test of bike harrow 2")


@pytest.mark.parametrize(
    "proxy",
    [
        tls_proxy,
        pytest.param(
            nginx_proxy, marks=pytest.mark.skipif(NGINX is None, reason="nginx is not installed")
        ),
    ],
)
def test_a_proxy_in_front_may_end_tls(chromium, demo, provider_port, tmp_path, proxy):
    with (
        network_shop(
            demo,
            tmp_path,
            metadata_url=_metadata(provider_port),
            provider_port=provider_port,
            behind_proxy=proxy,
        ) as shop,
        tablet_at(chromium, shop) as page,
    ):
        page.goto("/bench?unit=U-002")
        sign_in(page, TECHNICIAN)
        heading(page, "Bench test of bike harrow 2")
        assert all(cookie["secure"] for cookie in page.context.cookies())
        no_error(page)


def test_signing_out_on_one_page_ends_the_other_pages_of_the_same_browser(tablet):
    tablet.goto("/bench")
    sign_in(tablet, OWNER)
    heading(tablet, "Test at the bench")
    other = tablet.context.new_page()
    other.goto("/fleet")
    heading(other, "The fleet at a glance")
    tablet.get_by_role("link", name="Sign out").click()
    tablet.get_by_role("button").first.wait_for()
    other.get_by_role("link", name="Parts", exact=True).click()
    other.get_by_text(NOT_SIGNED_IN).wait_for()


def test_a_file_that_a_page_offers_is_for_those_signed_in(tablet, network):
    tablet.goto("/")
    sign_in(tablet, OWNER)
    heading(tablet, "Sensors in service")
    with tablet.expect_request(lambda sent: "/media/" in sent.url) as asked:
        tablet.get_by_test_id("stDownloadButton").first.get_by_role("button").click()
    address = asked.value.url
    assert tablet.request.get(address).status == 200
    stranger = tablet.context.browser.new_context(ignore_https_errors=True)
    assert stranger.request.get(address).status == 401
    stranger.close()


def test_every_page_keeps_to_the_policy_on_scripts_and_can_be_read_aloud(tablet):
    tablet.goto("/bench")
    tablet.get_by_text(NOT_SIGNED_IN).wait_for()
    fits_and_can_be_pressed(tablet)
    assert broken_rules(tablet) == []
    sign_in(tablet, OWNER)
    heading(tablet, "Test at the bench")
    for address in ADDRESSES[:-2]:
        tablet.goto(f"/{address}")
        tablet.locator("h1").first.wait_for()
        tablet.wait_for_timeout(2500)  # charts come by and by
        no_error(tablet)
    tablet.goto("/bike?unit=U-002")
    tablet.locator(".wa-table a[href^='session']").first.click()
    heading(tablet, "Bench test of")
    tablet.locator("canvas, svg.marks").first.wait_for()
    # that none of it broke the policy is looked at when the page is closed


def test_a_script_that_we_do_not_know_does_not_run(chromium, network):
    with tablet_at(chromium, network, policy_kept=False) as page:
        page.goto("/bench")
        page.get_by_text(NOT_SIGNED_IN).wait_for()
        ran = page.evaluate(
            """() => { const s = document.createElement('script'); s.textContent =
            'window.slipped = 1'; document.body.append(s); return window.slipped ?? 'refused' }"""
        )
        assert ran == "refused"


def _raw(shop: NetworkShop, request: str, *, tls: bool = True) -> bytes:
    with socket.create_connection((HOST, shop.port), timeout=10) as plain:
        trust = ssl.create_default_context(cafile=str(shop.authority))
        wire = trust.wrap_socket(plain, server_hostname=HOST) if tls else plain
        wire.sendall(request.encode())
        wire.settimeout(10)
        got = b""
        try:
            while part := wire.recv(65536):
                got += part
        except (ssl.SSLError, OSError):
            pass
        return got


@pytest.mark.parametrize("path", ["/", "/bench", "/_stcore/health", "/_stcore/host-config"])
def test_a_host_nobody_allowed_is_refused(network, path):
    asked = f"GET {path} HTTP/1.1\r\nHost: {{}}\r\nConnection: close\r\n\r\n"
    assert _raw(network, asked.format(f"{HOST}:{network.port}")).startswith(b"HTTP/1.1 200")
    for host in ("evil.example", f"evil.example:{network.port}", f"{HOST}.evil.example"):
        assert _raw(network, asked.format(host)).startswith(b"HTTP/1.1 400")
    led_on = _raw(network, asked.format(f"localhost:{network.port}"))
    assert led_on.startswith(b"HTTP/1.1 307")
    assert f"location: {network.address}{path}".encode() in led_on


def test_nothing_is_answered_without_tls(network):
    asked = f"GET / HTTP/1.1\r\nHost: {HOST}:{network.port}\r\nConnection: close\r\n\r\n"
    assert b"200" not in _raw(network, asked, tls=False)
    assert b"html" not in _raw(network, asked, tls=False)


def test_old_versions_of_tls_are_refused(network):
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.maximum_version = ssl.TLSVersion.TLSv1_1
    with (
        socket.create_connection((HOST, network.port), timeout=10) as plain,
        pytest.raises((ssl.SSLError, OSError)),
    ):
        old.wrap_socket(plain, server_hostname=HOST)


@pytest.mark.parametrize(
    ("origin", "host", "status"),
    [
        ("https://evil.example", None, 403),
        (None, None, 403),
        ("http://{own}", None, 403),
        ("https://evil.example", "evil.example", 400),
        ("https://localhost", "localhost", 403),
    ],
)
def test_a_connection_from_elsewhere_is_refused(network, origin, host, status):
    own = f"{HOST}:{network.port}"
    trust = ssl.create_default_context(cafile=str(network.authority))
    asked = {
        "ssl": trust,
        "subprotocols": ["streamlit"],
        "compression": None,
        "proxy": None,
        "origin": origin.format(own=own) if origin else None,
    }
    name = f"{host or HOST}:{network.port}"
    asked["sock"] = socket.create_connection((HOST, network.port))
    with pytest.raises(InvalidStatus) as refused:
        connect(f"wss://{name}/_stcore/stream", server_hostname=HOST, **asked)
    assert refused.value.response.status_code == status


@pytest.mark.parametrize(
    "size", [{"width": 820, "height": 1180}, {"width": 1280, "height": 900}], ids=["tablet", "desk"]
)
def test_the_technicians_walk_goes_over_the_network_too(
    chromium, demo, provider_port, tmp_path, size
):
    import shutil

    from pipeline.home import Home

    home = Home(tmp_path / "demo")
    shutil.copytree(demo.root, home.root)
    with (
        network_shop(
            home, tmp_path, metadata_url=_metadata(provider_port), provider_port=provider_port
        ) as shop,
        home.one_builder(),
        tablet_at(chromium, shop, viewport=size) as page,
    ):
        page.goto("/")
        sign_in(page, TECHNICIAN)
        heading(page, "Sensors in service")
        walk_from_test_to_job(page, home, Asker("Tom Lind", TECHNICIANS_PART))
