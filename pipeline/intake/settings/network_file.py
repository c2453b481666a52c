"""How the dashboard is reached on the shop's network: ``network.toml`` in the data home.

Nothing is guessed: a key that is missing or cannot stand is named with the file and what was
expected, and no start follows. Secrets stay out of the data home, and so out of its copies: the
file only says where they are.
"""

from __future__ import annotations

import ipaddress
import os
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from pipeline.home import Home, write_new
from pipeline.intake.settings.settings_file import read_text

HERE, PROXY = "here", "proxy"
LOGIN, SELECT = "login", "select_account"
MOST_HOURS = 168
UPLOAD_LIMIT_MB = 200
_EVERYONE_READS = 0o004
_HOST = re.compile(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*")

TEMPLATE = """\
# How Wear Atlas is reached on the shop's network: python3 -m dashboard --network
# Every key without a # before it has to be filled in; nothing is guessed. No secret belongs here.

# The address that people open, with https and the port if it is not 443. Tell it to the provider
# with /oauth2callback behind it. Other names or numbers of this machine lead on to it.
reached_at = ""
allowed_hosts = []

# The address of this machine to listen on (0.0.0.0 for all), and the port.
listen_on = ""
port = 8650

# Who ends TLS: "here", with a certificate and its key, or a "proxy" on this machine, with
# listen_on = "127.0.0.1" and neither.
tls = "here"
certificate = ""
key = ""

# Sign-in by OpenID Connect; provider ends in /.well-known/openid-configuration. The client's
# secret stands in a file outside this folder that only you can read, or in a variable of the
# environment (client_secret_variable in place of the file).
provider = ""
client_id = ""
client_secret_file = ""
sign_in_hours = 10

# May be left out: "login" asks for the password at each sign-in, "select_account" only who it
# is; the authority that signed the provider's certificate; the largest file to be handed in.
# prompt = "login"
# provider_authority = "/path/to/authority.pem"
# upload_limit_mb = 200
"""


class NetworkFileError(Exception):
    """The file cannot stand; ``problems`` are sentences that name the file and the key."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems


@dataclass(frozen=True)
class Provider:
    """The OpenID Connect provider, as it is asked; the secret is never part of a printed text."""

    metadata_url: str
    client_id: str
    client_secret: _Secret
    authority: str | None
    prompt: str


@dataclass(frozen=True)
class Network:
    """How the dashboard is reached, with everything checked that can be checked beforehand."""

    origin: str
    host: str
    allowed_hosts: tuple[str, ...]
    listen_on: str
    port: int
    certificate: str | None
    key: str | None
    provider: Provider
    sign_in_hours: float
    upload_limit_mb: int

    @property
    def authority(self) -> str:
        """Host and port as a browser names them."""
        return urlsplit(self.origin).netloc

    @property
    def callback(self) -> str:
        """Where the provider sends people back to."""
        return f"{self.origin}/oauth2callback"


class _Secret(str):
    """A text that does not print itself."""

    __slots__ = ()

    def __repr__(self) -> str:
        return "(secret)"


def read_network(home: Home, environment: Mapping[str, str] = os.environ) -> Network:
    """What the file says.

    Raises
    ------
    NetworkFileError
        The file is missing or cannot be read, or a key of it is missing or cannot stand.
    """
    values = _Values(home, _table(home.network), environment)
    network = values.network()
    values.refuse_unknown()
    if network is None or values.problems:
        raise NetworkFileError(values.problems)
    return network


def write_template(path: Path, text: str) -> bool:
    """Write a file to be filled in where there is none; whether that was so."""
    if path.exists():
        return False
    path.parent.mkdir(parents=True, exist_ok=True)
    write_new(path, text)
    return True


def _table(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(read_text(path).plain)
    except FileNotFoundError:
        raise NetworkFileError([f"{path} is missing."]) from None
    except (OSError, ValueError) as error:
        raise NetworkFileError([f"{path} cannot be read: {error}."]) from error


class _Values:
    """Reads key by key and gathers what cannot stand."""

    def __init__(self, home: Home, table: dict[str, Any], environment: Mapping[str, str]) -> None:
        self.home, self.table, self.environment = home, table, environment
        self.problems: list[str] = []
        self.asked: set[str] = set()

    def network(self) -> Network | None:
        origin = self._of("reached_at", _origin, "an address such as https://bench.example:8650")
        hosts = self._of("allowed_hosts", _hosts, "a list of host names or IP addresses in quotes")
        listen_on = self._of("listen_on", _ip, "an IP address of this machine, or 0.0.0.0 for all")
        port = self._of("port", _port, "a number from 1 to 65535")
        tls = self._of("tls", _one_of(HERE, PROXY), f'"{HERE}" or "{PROXY}"')
        certificate, key = self._certificate(tls)
        provider = self._provider()
        hours = self._of("sign_in_hours", _hours, f"hours, more than 0 and at most {MOST_HOURS}")
        upload = self._of("upload_limit_mb", _upload, "a whole number of MB from 1 to 2000",
                          UPLOAD_LIMIT_MB)  # fmt: skip
        self._fit_together(origin, hosts, listen_on, tls)
        if self.problems or provider is None:
            return None
        host = urlsplit(origin).hostname or ""
        return Network(
            origin, host, hosts, listen_on, port, certificate, key, provider, hours, upload
        )

    def refuse_unknown(self) -> None:
        """A key nobody asked for may be a misspelt one, or a secret where none belongs."""
        for name in self.table:
            if name == "client_secret":
                self._say(name, "does not belong here, since this folder is copied: name a file "
                          "outside it as client_secret_file")  # fmt: skip
            elif name not in self.asked:
                self._say(name, "is no key of this file")

    def _provider(self) -> Provider | None:
        url = self._of("provider", _provider_url, "an https address that ends in "
                       "/.well-known/openid-configuration")  # fmt: skip
        client_id = self._of("client_id", _text, "the name that the provider knows Wear Atlas by")
        secret = self._client_secret()
        authority = self._file("provider_authority") if "provider_authority" in self.table else None
        self.asked.add("provider_authority")
        prompt = self._of("prompt", _one_of(LOGIN, SELECT), f'"{LOGIN}" or "{SELECT}"', LOGIN)
        if None in (url, client_id, secret, prompt):
            return None
        return Provider(url, client_id, _Secret(secret), authority, prompt)

    def _certificate(self, tls: str | None) -> tuple[str | None, str | None]:
        if tls == HERE:
            certificate, key = self._file("certificate"), self._file("key")
            if key:
                self._refuse_open("key", Path(key))
            return certificate, key
        self.asked |= {"certificate", "key"}
        for name in ("certificate", "key"):
            if tls == PROXY and name in self.table:
                self._say(name, 'does not belong here while tls is "proxy"')
        return None, None

    def _client_secret(self) -> str | None:
        self.asked |= {"client_secret", "client_secret_file", "client_secret_variable"}
        file, variable = "client_secret_file", "client_secret_variable"
        if (file in self.table) == (variable in self.table):
            which = "both stand" if file in self.table else "one is missing"
            self._say(f"{file} or {variable}", f"{which}; expected one of the two")
            return None
        if variable in self.table:
            name = self._of(variable, _text, "the name of a variable of the environment")
            secret = self.environment.get(name, "") if name else ""
            if name and not secret.strip():
                self._say(variable, f"is {name!r}, which holds nothing in this environment")
            return secret.strip() or None
        path = self._file(file)
        if path is None:
            return None
        self._refuse_open(file, Path(path))
        secret = Path(path).read_text(encoding="utf-8").strip()
        if not secret:
            self._say(file, f"is {path}, which is empty")
        return secret or None

    def _file(self, name: str) -> str | None:
        given = self._of(name, _text, "the path of a file")
        if given is None:
            return None
        path = Path(given).expanduser()
        if not path.is_absolute():
            self._say(name, f"is {given!r}, expected a whole path from / on")
            return None
        if not os.access(path, os.R_OK) or not path.is_file():
            self._say(name, f"is {given!r}, expected a file that can be read")
            return None
        return str(path)

    def _refuse_open(self, name: str, path: Path) -> None:
        if path.resolve().is_relative_to(self.home.root.resolve()):
            self._say(name, f"is {path}, inside the data home, which is copied; keep it elsewhere")
        elif os.name != "nt" and path.stat().st_mode & _EVERYONE_READS:
            self._say(
                name, f"is {path}, which everyone on this machine can read (chmod 600 {path})"
            )

    def _fit_together(
        self,
        origin: str | None,
        hosts: tuple[str, ...] | None,
        listen_on: str | None,
        tls: str | None,
    ) -> None:
        host = urlsplit(origin).hostname if origin else None
        if host and hosts is not None and host not in hosts:
            self._say("allowed_hosts", f"does not hold {host}, the host of reached_at")
        if tls == PROXY and listen_on and not ipaddress.ip_address(listen_on).is_loopback:
            self._say("listen_on", f'is {listen_on!r}, expected "127.0.0.1" while tls is "proxy"')

    def _of(
        self, name: str, read: Callable[[object], Any], expected: str, default: object = None
    ) -> Any:
        """One value as ``read`` takes it; else None, and a problem said."""
        self.asked.add(name)
        if name not in self.table:
            if default is None:
                self._say(name, f"is missing; expected {expected}")
            return default
        try:
            return read(self.table[name])
        except ValueError:
            self._say(name, f"is {self.table[name]!r}, expected {expected}")
            return None

    def _say(self, name: str, what: str) -> None:
        self.problems.append(f"{self.home.network.name}: {name} {what}.")


def _text(value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError
    return value.strip()


def _origin(value: object) -> str:
    """``https://host`` or ``https://host:port``, lower case, without a path."""
    parts = urlsplit(_text(value))
    if parts.scheme != "https" or parts.path not in ("", "/") or parts.query or parts.fragment:
        raise ValueError
    if parts.username is not None or parts.password is not None:
        raise ValueError
    host = _one_host(parts.hostname)
    shown = f"[{host}]" if ":" in host else host
    return f"https://{shown}" if parts.port in (None, 443) else f"https://{shown}:{parts.port}"


def _hosts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError
    return tuple(dict.fromkeys(_one_host(host) for host in value))


def _one_host(value: object) -> str:
    """A host's name or IP address; neither a port nor a pattern."""
    host = _text(value).lower()
    try:
        return str(ipaddress.ip_address(host))
    except ValueError:
        if not _HOST.fullmatch(host):
            raise
        return host


def _ip(value: object) -> str:
    return str(ipaddress.ip_address(_text(value)))


def _port(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 65535:
        raise ValueError
    return value


def _upload(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 2000:
        raise ValueError
    return value


def _hours(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError
    if not 0 < value <= MOST_HOURS:  # nan is nowhere within
        raise ValueError
    return float(value)


def _one_of(*words: str) -> Callable[[object], str]:
    def read(value: object) -> str:
        if value not in words:
            raise ValueError
        return str(value)

    return read


def _provider_url(value: object) -> str:
    """https, or http to this very machine."""
    parts = urlsplit(_text(value))
    alone = parts.hostname in ("127.0.0.1", "::1", "localhost")
    if parts.scheme != "https" and not (parts.scheme == "http" and alone):
        raise ValueError
    if not parts.hostname or not parts.path.endswith("/.well-known/openid-configuration"):
        raise ValueError
    return _text(value)
