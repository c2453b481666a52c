"""The door before a stand-in for Streamlit that lets everything through and says what it saw."""

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import JSONResponse, RedirectResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient, WebSocketDenialResponse
from starlette.websockets import WebSocketDisconnect
from streamlit import config
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.web.server.starlette.starlette_app_utils import create_signed_value
from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

from dashboard.network.door import Door
from dashboard.network.sign_ins import SignIns
from pipeline.intake.settings.network_file import Network, Provider

HOST = "bench.example:8650"
ORIGIN = f"https://{HOST}"
NOW = 1_800_000_000
CLAIMS = {"is_logged_in": True, "sub": "1", "iat": NOW - 60, "nonce": "n", "origin": ORIGIN}
NETWORK = Network(
    origin=ORIGIN,
    host="bench.example",
    allowed_hosts=("bench.example", "192.168.1.20"),
    listen_on="127.0.0.1",
    port=8650,
    certificate=None,
    key=None,
    provider=Provider("https://id/.well-known/openid-configuration", "a", "b", None, "login"),
    sign_in_hours=10,
    upload_limit_mb=200,
)


async def _everything(request):
    answer = JSONResponse({"cookies": sorted(request.cookies), "path": request.url.path})
    answer.set_cookie(USER_COOKIE_NAME, "x", max_age=30 * 86400, httponly=True, samesite="lax")
    answer.headers.append("set-cookie", "_streamlit_xsrf=2|a; Path=/; SameSite=Strict")
    answer.delete_cookie("_streamlit_user_1", path="/")
    return answer


async def _to_first_page(_request):
    return RedirectResponse("/", 302)


async def _echo(websocket):
    await websocket.accept()
    try:
        while True:
            await websocket.send_text(await websocket.receive_text())
    except WebSocketDisconnect:
        pass


class Shop:
    """A door with a clock of its own."""

    def __init__(self):
        self.clock = NOW
        self.sign_ins = SignIns(ORIGIN, 10, now=lambda: self.clock)
        methods = ["GET", "HEAD", "PUT", "POST", "DELETE"]
        app = Starlette(
            routes=[
                Route("/oauth2callback", _to_first_page),
                WebSocketRoute("/_stcore/stream", _echo),
                Route("/{path:path}", _everything, methods=methods),
            ],
            middleware=[
                Middleware(
                    TrustedHostMiddleware,
                    allowed_hosts=list(NETWORK.allowed_hosts),
                    www_redirect=False,
                ),
                Middleware(
                    Door,
                    network=NETWORK,
                    sign_ins=self.sign_ins,
                    has_part=lambda claims: claims["sub"] != "nobody",
                ),
            ],
        )
        self.client = TestClient(app, base_url=ORIGIN, follow_redirects=False)

    def ask(self, path, method="GET", *, claims=None, **headers):
        if claims is not None:
            headers["cookie"] = f"other=1; {_cookie(claims)}"
        return self.client.request(method, path, headers=headers)


@pytest.fixture
def shop():
    return Shop()


def _cookie(claims):
    secret = config.get_option("server.cookieSecret")
    value = create_signed_value(secret, USER_COOKIE_NAME, json.dumps(claims))
    return f"{USER_COOKIE_NAME}={value.decode()}"


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8650", "bench.example.evil.example", "", "127.0.0.1"]
)
@pytest.mark.parametrize("path", ["/", "/bench", "/media/a.csv", "/_stcore/health", "/static/a.js"])
def test_a_host_that_is_not_allowed_is_refused_before_anything_is_served(shop, host, path):
    answer = shop.ask(path, host=host, claims=CLAIMS)
    assert answer.status_code == 400
    assert "cookies" not in answer.text


def test_another_name_of_the_machine_leads_on_to_the_one_people_sign_in_at(shop):
    answer = shop.ask("/bench?unit=U%201", host="192.168.1.20:8650")
    assert answer.status_code == 307
    assert answer.headers["location"] == f"{ORIGIN}/bench?unit=U%201"
    assert shop.ask("//evil.example/x", host="192.168.1.20").headers["location"].startswith(ORIGIN)
    assert shop.ask("/", "PUT", host="192.168.1.20", origin=ORIGIN).status_code == 403
    assert shop.ask("/", host="bench.example:99").status_code == 307


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/", 200),
        ("/bench", 200),
        ("/static/js/a.js", 200),
        ("/_stcore/health", 200),
        ("/_stcore/host-config", 200),
        ("/_stcore/metrics", 404),
        ("/_stcore/script-health-check", 404),
        ("/_stcore/agent/openapi.json", 404),
        ("/media/0123.csv", 401),
        ("/component/a/b.js", 401),
        ("/_stcore/bidi-components/a", 401),
    ],
)
def test_what_is_served_to_whom_is_not_signed_in(shop, path, status):
    assert shop.ask(path).status_code == status


def test_files_and_uploads_are_for_those_signed_in(shop):
    assert shop.ask("/media/0123.csv", claims=CLAIMS).status_code == 200
    upload = "/_stcore/upload_file/1/2"
    assert shop.ask(upload, "PUT", claims=CLAIMS, origin=ORIGIN).status_code == 200
    assert shop.ask(upload, "PUT", origin=ORIGIN).status_code == 401
    assert shop.ask("/_stcore/metrics", claims=CLAIMS).status_code == 404
    without_part = CLAIMS | {"sub": "nobody"}
    assert shop.ask("/media/0123.csv", claims=without_part).status_code == 403
    assert shop.ask(upload, "PUT", claims=without_part, origin=ORIGIN).status_code == 403
    assert shop.ask("/bench", claims=without_part).status_code == 200  # says so


@pytest.mark.parametrize("origin", ["https://evil.example", "null", f"{ORIGIN}.evil", None])
@pytest.mark.parametrize("method", ["PUT", "POST", "DELETE"])
def test_a_change_asked_for_from_elsewhere_is_refused(shop, origin, method):
    headers = {"origin": origin} if origin else {}
    assert shop.ask("/_stcore/upload_file/1/2", method, claims=CLAIMS, **headers).status_code == 403


@pytest.mark.parametrize(
    ("claims", "seen"),
    [
        (CLAIMS, ["_streamlit_user", "other"]),
        (CLAIMS | {"iat": NOW - 11 * 3600}, ["other"]),
        (CLAIMS | {"is_logged_in": False}, ["other"]),
        (CLAIMS | {"origin": "https://else.example"}, ["other"]),
    ],
)
def test_a_sign_in_that_does_not_hold_is_taken_out_of_the_request(shop, claims, seen):
    assert shop.ask("/", claims=claims).json()["cookies"] == seen


def test_after_signing_out_no_copy_of_the_cookie_is_worth_anything(shop):
    assert shop.ask("/media/1", claims=CLAIMS).status_code == 200
    assert "_streamlit_user" in shop.ask("/auth/logout", claims=CLAIMS).json()["cookies"]
    assert shop.ask("/media/1", claims=CLAIMS).status_code == 401
    assert shop.ask("/media/1", claims=CLAIMS | {"nonce": "new"}).status_code == 200


@pytest.mark.parametrize("path", ["/", "/media/1", "/nowhere"])
def test_every_answer_carries_the_headers_and_cookies_go_by_tls_alone(shop, path):
    answer = shop.ask(path, claims=CLAIMS)
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    given = answer.headers.get_list("set-cookie")
    assert len(given) == 3
    assert all(cookie.endswith("Secure") and "samesite=" in cookie.lower() for cookie in given)
    ages = [field for cookie in given for field in cookie.split("; ") if "Max-Age" in field]
    assert ages == ["Max-Age=36000", "Max-Age=0"]  # the sign-in's, and that of one taken back


def test_refusals_carry_the_headers_too(shop):
    for answer in (shop.ask("/media/1"), shop.ask("/_stcore/metrics")):
        assert answer.headers["x-frame-options"] == "DENY"


def test_signing_in_leads_back_to_the_page_one_came_from(shop):
    answer = shop.ask("/auth/login", referer=f"{ORIGIN}/bench?unit=U-1&b=c%20d")
    (back,) = [c for c in answer.headers.get_list("set-cookie") if "wear_atlas_back" in c]
    assert "HttpOnly" in back
    cookie = back.split(";")[0]
    answer = shop.ask("/oauth2callback?code=1&state=2", cookie=cookie)
    assert answer.headers["location"] == "/bench?unit=U-1&b=c%20d"
    assert "wear_atlas_back=; " in answer.headers["set-cookie"]


@pytest.mark.parametrize(
    "referer",
    [
        "https://evil.example/bench",
        f"{ORIGIN}//evil.example/",
        f"{ORIGIN}.evil.example/",
        f"{ORIGIN}/auth/logout",
        f"{ORIGIN}/oauth2callback?a=b",
        f"{ORIGIN}/\\evil.example",
        f"{ORIGIN}/{'a' * 2000}",
        "https://[",
        "",
    ],
)
def test_it_leads_back_to_no_other_place(shop, referer):
    answer = shop.ask("/auth/login", referer=referer)
    assert not any("back" in cookie for cookie in answer.headers.get_list("set-cookie"))


@pytest.mark.parametrize("kept", ["//evil.example", "https://evil.example", "%5Cevil", "/a\r\nb"])
def test_a_way_back_that_was_tampered_with_leads_to_the_first_page(shop, kept):
    from urllib.parse import quote

    cookie = f"wear_atlas_back={quote(kept, safe='')}"
    assert shop.ask("/oauth2callback", cookie=cookie).headers["location"] == "/"


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "http://bench.example:8650"},
        {},
        {"origin": ORIGIN, "host": "192.168.1.20"},
        {"origin": "https://evil.example", "host": "evil.example"},
    ],
)
def test_a_connection_from_elsewhere_is_refused(shop, headers):
    with (
        pytest.raises(WebSocketDenialResponse),
        shop.client.websocket_connect(f"wss://{HOST}/_stcore/stream", headers=headers),
    ):
        pass


@pytest.mark.parametrize("ends", ["over", "ended"])
def test_a_connection_is_cut_when_the_sign_in_that_opened_it_no_longer_holds(shop, ends):
    headers = {"origin": ORIGIN, "cookie": _cookie(CLAIMS)}
    address = f"wss://{HOST}/_stcore/stream"
    with shop.client.websocket_connect(address, headers=headers) as opened:
        opened.send_text("a")
        assert opened.receive_text() == "a"
        if ends == "over":
            shop.clock += 10 * 3600
        else:
            shop.ask("/auth/logout", claims=CLAIMS)
        opened.send_text("b")
        told = ForwardMsg.FromString(opened.receive_bytes())
        assert told.WhichOneof("type") == "auth_redirect"
        assert told.auth_redirect.url == ""  # the page's own address again
        with pytest.raises(WebSocketDisconnect):
            opened.receive_text()


def test_what_is_neither_page_nor_connection_passes():
    seen = []

    async def app(scope, _receive, _send):
        seen.append(scope["type"])

    passed = Door(app, NETWORK, SignIns(ORIGIN, 10), bool)({"type": "lifespan"}, None, None)
    with ThreadPoolExecutor(1) as thread:  # a browser test may have left a loop in this one
        thread.submit(asyncio.run, passed).result()
    assert seen == ["lifespan"]
