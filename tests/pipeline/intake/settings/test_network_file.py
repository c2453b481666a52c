import tomllib
from dataclasses import asdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.home import Home
from pipeline.intake.settings.network_file import (
    TEMPLATE,
    NetworkFileError,
    read_network,
    write_template,
)

WORDS, NAMED = "open sesame", "ATLAS_SECRET"
URL = "https://id.example/.well-known/openid-configuration"


@pytest.fixture
def home(tmp_path):
    (tmp_path / "home").mkdir()
    return Home(tmp_path / "home")


@pytest.fixture
def values(tmp_path):
    """What stands in a file that is whole."""
    for name in ("cert.pem", "key.pem", "secret"):
        (tmp_path / name).write_text("a\n")
        (tmp_path / name).chmod(0o600)
    return {
        "reached_at": "https://Bench.example:8650/",
        "allowed_hosts": ["bench.example", "192.168.1.20"],
        "listen_on": "0.0.0.0",  # noqa: S104 - only read here
        "port": 8650,
        "tls": "here",
        "certificate": str(tmp_path / "cert.pem"),
        "key": str(tmp_path / "key.pem"),
        "provider": URL,
        "client_id": "wear-atlas",
        "client_secret_file": str(tmp_path / "secret"),
        "sign_in_hours": 10,
    }


def _write(home, values):
    lines = []
    for name, value in values.items():
        shown = str(value) if isinstance(value, (int, float, list)) else repr(value)
        lines.append(f"{name} = {shown}")
    home.network.write_text("\n".join(lines).replace("'", '"'))


def _problems(home, values, environment=None):
    _write(home, values)
    with pytest.raises(NetworkFileError) as refused:
        read_network(home, environment or {})
    assert all("\n" not in problem for problem in refused.value.problems)
    return refused.value.problems


def test_a_whole_file_stands(home, values):
    _write(home, values)
    network = read_network(home, {})
    assert network.origin == "https://bench.example:8650"
    assert network.callback == "https://bench.example:8650/oauth2callback"
    assert (network.host, network.authority) == ("bench.example", "bench.example:8650")
    assert network.allowed_hosts == ("bench.example", "192.168.1.20")
    assert (network.sign_in_hours, network.upload_limit_mb) == (10.0, 200)
    assert (network.provider.client_secret, network.provider.prompt) == ("a", "login")


def test_the_secret_is_not_printed_with_the_rest(home, values, tmp_path):
    (tmp_path / "secret").write_text(WORDS)
    _write(home, values)
    network = read_network(home, {})
    assert network.provider.client_secret == WORDS
    assert "sesame" not in repr(network)
    assert "sesame" not in str(asdict(network))


@pytest.mark.parametrize(
    "name",
    [
        "reached_at",
        "allowed_hosts",
        "listen_on",
        "port",
        "tls",
        "provider",
        "client_id",
        "client_secret_file",
        "sign_in_hours",
        "certificate",
        "key",
    ],
)
def test_what_is_missing_is_named_with_the_file(home, values, name):
    del values[name]
    (problem,) = _problems(home, values)
    assert problem.startswith(f"network.toml: {name} ")
    assert "missing" in problem


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("reached_at", "http://bench.example"),
        ("reached_at", "https://bench.example/atlas"),
        ("reached_at", "https://a:b@bench.example"),
        ("reached_at", "https://bench.example:99999"),
        ("reached_at", "bench.example"),
        ("allowed_hosts", []),
        ("allowed_hosts", ["*"]),
        ("allowed_hosts", ["*.example", "bench.example"]),
        ("allowed_hosts", ["bench.example:8650"]),
        ("allowed_hosts", "bench.example"),
        ("allowed_hosts", ["else.example"]),
        ("listen_on", "bench.example"),
        ("port", 0),
        ("port", "8650"),
        ("tls", "none"),
        ("provider", "http://id.example/.well-known/openid-configuration"),
        ("provider", "https://id.example/"),
        ("client_id", " "),
        ("sign_in_hours", 0),
        ("sign_in_hours", 169),
        ("sign_in_hours", "ten"),
        ("certificate", "cert.pem"),
        ("certificate", "/there/is/none.pem"),
        ("prompt", "none"),
        ("upload_limit_mb", 0),
        ("upload_limit_mb", 1.5),
        ("provider_authority", "/there/is/none.pem"),
        ("listen_onn", "127.0.0.1"),
    ],
)
def test_what_cannot_stand_is_named_and_nothing_else(home, values, name, value):
    values[name] = value
    (problem,) = _problems(home, values)
    assert problem.startswith(f"network.toml: {name} ")


def test_the_secret_itself_does_not_belong_in_the_file(home, values):
    del values["client_secret_file"]
    values["client_secret"] = WORDS
    problems = _problems(home, values)
    assert any("client_secret does not belong here" in problem for problem in problems)
    assert "sesame" not in str(problems)


def test_the_secret_may_stand_in_the_environment(home, values):
    del values["client_secret_file"]
    values["client_secret_variable"] = NAMED
    _write(home, values)
    assert read_network(home, {NAMED: WORDS + "\n"}).provider.client_secret == WORDS
    (problem,) = _problems(home, values, {NAMED: ""})
    assert "client_secret_variable is 'ATLAS_SECRET', which holds nothing" in problem


@pytest.mark.parametrize("name", ["key", "client_secret_file"])
def test_a_secret_that_is_copied_with_the_home_or_open_to_everyone_is_refused(home, values, name):
    within = home.root / "within"
    within.write_text("a")
    within.chmod(0o600)
    (problem,) = _problems(home, values | {name: str(within)})
    assert "inside the data home" in problem
    open_file = home.root.parent / "open"
    open_file.write_text("a")
    open_file.chmod(0o644)
    (problem,) = _problems(home, values | {name: str(open_file)})
    assert "everyone" in problem


def test_behind_a_proxy_it_listens_on_this_machine_alone_and_has_no_key(home, values):
    values["tls"] = "proxy"
    problems = _problems(home, values)
    assert [problem.split()[1] for problem in problems] == ["certificate", "key", "listen_on"]
    del values["certificate"], values["key"]
    _write(home, values | {"listen_on": "127.0.0.1"})
    assert read_network(home, {}).certificate is None


def test_a_missing_file_is_written_to_be_filled_in_and_does_not_stand_as_it_is(home):
    with pytest.raises(NetworkFileError, match="is missing"):
        read_network(home, {})
    assert write_template(home.network, TEMPLATE)
    assert not write_template(home.network, "")
    with pytest.raises(NetworkFileError) as refused:
        read_network(home, {})
    named = {problem.split()[1] for problem in refused.value.problems}
    assert {"reached_at", "allowed_hosts", "listen_on", "provider", "client_id"} <= named
    assert set(tomllib.loads(TEMPLATE)) >= named - {"client_secret_file"}


def test_a_file_that_cannot_be_read_is_said_in_one_sentence(home):
    home.network.write_text("reached_at = \n")
    with pytest.raises(NetworkFileError, match="cannot be read"):
        read_network(home, {})


@given(
    st.dictionaries(
        st.sampled_from(["reached_at", "allowed_hosts", "listen_on", "port", "tls", "provider"]),
        st.one_of(st.text(max_size=20), st.integers(), st.booleans(), st.lists(st.text())),
    )
)
def test_no_value_at_all_brings_it_down(tmp_path_factory, table):
    from pipeline.intake.settings import network_file

    values = network_file._Values(Home(tmp_path_factory.getbasetemp()), table, {})
    assert values.network() is None
    assert values.problems
