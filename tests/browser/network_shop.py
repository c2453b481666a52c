"""A dashboard on a network of one machine: a provider, a certificate of our own, and people."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import trustme

from pipeline.environment import CHECKOUT
from pipeline.home import Home
from tests.browser.served import HOST, free_port, wait_until_up

OWNER = "ana@workshop.example"
TECHNICIAN = "tom@workshop.example"
STRANGER = "eve@elsewhere.example"
UNVERIFIED = "unverified@workshop.example"
PEOPLE = f"""
[[person]]
name = "Ana Ruiz"
email = "{OWNER}"
part = "owner"
shops = "all"

[[person]]
name = "Tom Lind"
email = "{TECHNICIAN}"
part = "technician"
shops = "all"

[[person]]
name = "Not Verified"
email = "{UNVERIFIED}"
part = "owner"
shops = "all"
"""


@dataclass
class NetworkShop:
    """A dashboard that is being served behind sign-in."""

    port: int
    provider_port: int
    home: Home
    authority: Path
    process: subprocess.Popen = field(repr=False)
    log: Path = field(repr=False)

    @property
    def address(self) -> str:
        return f"https://{HOST}:{self.port}"


@contextmanager
def provider() -> Iterator[int]:
    """A provider on a port of this machine that believes whoever says who they are."""
    from oidc_provider_mock import User, run_server_in_thread

    known = [
        User(sub=email, claims={"email": email, "email_verified": email != UNVERIFIED})
        for email in (OWNER, TECHNICIAN, STRANGER, UNVERIFIED)
    ]
    with run_server_in_thread(user_claims=known) as server:
        yield server.server_port


@contextmanager
def network_shop(
    demo: Home,
    folder: Path,
    *,
    metadata_url: str,
    provider_port: int,
    port: int | None = None,
    people: str = PEOPLE,
    behind_proxy: Callable | None = None,
    **changed: object,
) -> Iterator[NetworkShop]:
    """`python -m dashboard --network` on a free port, looking at a demo.

    ``changed`` are keys of ``network.toml`` in place of the usual ones, None to leave one out.
    Behind a proxy (one of `tls_proxy.py`) that has the free port, and the dashboard another.
    """
    port = port or free_port()
    inner = free_port() if behind_proxy else port
    home = Home(folder / "own")
    home.root.mkdir(parents=True)
    authority = folder / "authority.pem"
    if not authority.exists():
        certify(folder)
    keys = usual_keys(folder, port) | {"provider": metadata_url}
    if behind_proxy:
        keys |= {"tls": "proxy", "port": inner, "certificate": None, "key": None}
    keys |= changed
    write_keys(home.network, keys)
    home.people.write_text(people, encoding="utf-8")
    command = [sys.executable, "-m", "dashboard", "--network", "--home", str(home.root)]
    log = folder / "log"
    with log.open("w") as said:
        process = subprocess.Popen(
            command,
            cwd=CHECKOUT,
            env=os.environ | {"WEAR_ATLAS_DEMO_HOME": str(demo.root)},
            stdout=said,
            stderr=subprocess.STDOUT,
        )
    front = behind_proxy(folder, port, inner) if behind_proxy else nullcontext()
    try:
        with front:
            wait_until_up(f"https://{HOST}:{port}", process, log, authority)
            yield NetworkShop(port, provider_port, home, authority, process, log)
    finally:
        process.terminate()
        process.wait(timeout=20)


def certify(folder: Path) -> Path:
    """A certificate for this machine with its key, and the authority that signed it."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(folder / "authority.pem")
    mine = authority.issue_cert(HOST, "localhost", "bench.workshop.example")
    mine.private_key_pem.write_to_path(folder / "key.pem")
    (folder / "key.pem").chmod(0o600)
    (folder / "cert.pem").write_bytes(b"".join(blob.bytes() for blob in mine.cert_chain_pems))
    secret = folder / "client-secret"
    secret.write_text("told-to-nobody\n")
    secret.chmod(0o600)
    return folder / "authority.pem"


def usual_keys(folder: Path, port: int) -> dict[str, object]:
    """What stands in ``network.toml``, save the provider."""
    return {
        "reached_at": f"https://{HOST}:{port}",
        "allowed_hosts": [HOST, "localhost"],
        "listen_on": HOST,
        "port": port,
        "tls": "here",
        "certificate": str(folder / "cert.pem"),
        "key": str(folder / "key.pem"),
        "client_id": "wear-atlas",
        "client_secret_file": str(folder / "client-secret"),
        "sign_in_hours": 10,
    }


def write_keys(path: Path, keys: Mapping[str, object]) -> None:
    """Write keys as TOML, which writes such values as JSON does; those that are None are left out."""
    lines = [f"{name} = {json.dumps(value)}" for name, value in keys.items() if value is not None]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


@contextmanager
def tablet_at(chromium, shop: NetworkShop, *, policy_kept: bool = True, **options) -> Iterator:
    """A page of a browser of its own; nothing may have been asked of any other machine."""
    usual = {"viewport": {"width": 820, "height": 1180}, "base_url": shop.address}
    context = chromium.new_context(ignore_https_errors=True, **usual | options)
    asked, told = [], []
    context.on("request", lambda sent: asked.append(sent.url))
    page = context.new_page()
    page.on("console", lambda message: told.append(message.text))
    page.set_default_timeout(20_000)
    yield page
    context.close()
    ours = {(HOST, shop.port), ("localhost", shop.port), ("localhost", shop.provider_port)}
    left = {(urlsplit(url).hostname, urlsplit(url).port) for url in asked if "//" in url}
    pages_of_provider = {("cdn.jsdelivr.net", None)}  # the stand-in's own style sheet, never had
    assert left - ours - pages_of_provider == set()
    assert any("Content Security Policy" in text for text in told) is not policy_kept


def sign_in(page, who: str) -> None:
    """From the page of those who are not signed in to wherever the sign-in leads."""
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name=who, exact=True).click()
