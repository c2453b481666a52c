from dataclasses import replace

from streamlit.runtime.pages_manager import PagesManager

from dashboard.ahead import Ahead
from dashboard.network.door import Door
from dashboard.network.serve import PROVIDER, _has_part, application, options, sign_in_settings
from dashboard.network.sign_ins import SignIns
from pipeline.home import Home
from tests.dashboard.network.test_door import HOST, NETWORK, ORIGIN


def test_streamlit_is_told_to_keep_the_rules_that_it_knows_too():
    told = options(replace(NETWORK, upload_limit_mb=50, certificate="/c", key="/k"))
    assert told["server.allowedHosts"] == ["bench.example", "192.168.1.20"]
    assert told["server.corsAllowedOrigins"] == [ORIGIN]
    assert told["server.enableCORS"] is told["server.enableXsrfProtection"] is True
    assert told["server.maxUploadSize"] == 50
    assert (told["server.sslCertFile"], told["server.sslKeyFile"]) == ("/c", "/k")
    assert f"{told['browser.serverAddress']}:{told['browser.serverPort']}" == HOST
    assert options(replace(NETWORK, origin="https://bench.example"))["browser.serverPort"] == 443


def test_the_signing_key_is_new_at_each_start_and_long():
    first, second = (sign_in_settings(NETWORK)["cookie_secret"] for _ in range(2))
    assert first != second
    assert len(first) >= 48


def test_the_provider_is_asked_to_see_the_person_anew():
    told = sign_in_settings(NETWORK)[PROVIDER]
    assert told["client_kwargs"]["prompt"] == "login"
    assert told["authorize_params"] == {"max_age": 36_000}


def test_the_door_stands_before_the_pages_and_no_page_is_run_around_the_entry(
    monkeypatch, tmp_path
):
    monkeypatch.setattr(PagesManager, "uses_pages_directory", None)
    app = application(NETWORK, SignIns(ORIGIN, 10), Home(tmp_path))
    assert [one.cls for one in app._user_middleware][-2:] == [Door, Ahead]
    assert PagesManager.uses_pages_directory is False


def test_who_has_a_part_is_asked_of_the_file_and_nobody_has_one_without_it(tmp_path):
    home, claims = Home(tmp_path), {"sub": "7"}
    assert not _has_part(home, claims)
    home.people.write_text('[[person]]\nname = "A"\nsubject = "7"\npart = "owner"\nshops = "all"\n')
    assert _has_part(home, claims)
    assert not _has_part(home, {"sub": "8"})
