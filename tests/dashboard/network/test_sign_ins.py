import pytest
from streamlit import config
from streamlit.web.server.starlette.starlette_app_utils import create_signed_value
from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

from dashboard.network.sign_ins import CLOCKS_APART_S, SignIns

ORIGIN = "https://bench.example:8650"
NOW = 1_800_000_000
CLAIMS = {"is_logged_in": True, "sub": "1", "iat": NOW - 60, "nonce": "n", "iss": "https://id"}


@pytest.fixture
def clock():
    return [NOW]


@pytest.fixture
def sign_ins(clock):
    return SignIns(ORIGIN, 10, now=lambda: clock[0])


def test_a_sign_in_holds_for_the_hours_set_and_no_longer(sign_ins, clock):
    assert sign_ins.holds(CLAIMS)
    clock[0] = NOW - 60 + 10 * 3600 - 1
    assert sign_ins.holds(CLAIMS)
    clock[0] += 1
    assert not sign_ins.holds(CLAIMS)


def test_it_counts_from_when_the_provider_saw_the_person_where_that_is_told(sign_ins):
    assert not sign_ins.holds(CLAIMS | {"auth_time": NOW - 10 * 3600})
    assert sign_ins.holds(CLAIMS | {"iat": NOW - 11 * 3600, "auth_time": NOW})


@pytest.mark.parametrize(
    "changed",
    [
        {"is_logged_in": False},
        {"is_logged_in": "true"},
        {"is_logged_in": None},
        {"sub": None},
        {"sub": ""},
        {"iat": None},
        {"iat": "1800000000"},
        {"iat": True},
        {"iat": float("nan")},
        {"iat": float("inf")},
        {"iat": NOW + CLOCKS_APART_S + 1},
    ],
)
def test_whatever_is_amiss_is_no_sign_in(sign_ins, changed):
    assert not sign_ins.holds({k: v for k, v in (CLAIMS | changed).items() if v is not None})
    assert not sign_ins.holds({})


def test_a_sign_in_that_was_ended_does_not_hold_and_others_of_the_same_person_do(sign_ins, clock):
    sign_ins.end(CLAIMS)
    assert not sign_ins.holds(CLAIMS)
    assert sign_ins.holds(CLAIMS | {"nonce": "another"})
    clock[0] += 11 * 3600
    sign_ins.end(CLAIMS | {"nonce": "third"})
    assert not sign_ins.holds(CLAIMS)  # forgotten, but over


def _cookie(claims, secret):
    import json

    value = create_signed_value(secret, USER_COOKIE_NAME, json.dumps(claims))
    return {USER_COOKIE_NAME: value.decode()}


def test_only_a_cookie_that_this_server_signed_for_this_address_counts(sign_ins):
    """Held against Streamlit's own signing: a newer one that signs otherwise fails here."""
    mine = config.get_option("server.cookieSecret")
    whole = {**CLAIMS, "origin": ORIGIN}
    assert sign_ins.of_cookies(_cookie(whole, mine))["sub"] == "1"
    assert sign_ins.of_cookies(_cookie(whole, "another")) is None
    assert sign_ins.of_cookies(_cookie({**whole, "origin": "https://else.example"}, mine)) is None
    assert sign_ins.of_cookies({USER_COOKIE_NAME: "x"}) is None
    assert sign_ins.of_cookies({}) is None
