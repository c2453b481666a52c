"""A provider of the shop's own: Canaille, set up as the README says, where it is installed.

It is no part of our environment: ``WEAR_ATLAS_CANAILLE`` names its command, else it is looked
for on the path.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.browser.served import HOST, wait_until_up

COMMAND = os.environ.get("WEAR_ATLAS_CANAILLE") or shutil.which("canaille")
PERSON, PASSWORD = "tom", "a-long-word-for-tom"
CLIENT, SECRET_FILE = "wear-atlas", "client-secret"


@contextmanager
def own_provider(folder: Path, port: int, callback: str, authority: Path) -> Iterator[str]:
    """Serve it over TLS with one person in it; the address of its metadata."""
    settings = folder / "provider.toml"
    _settle(folder, settings, port)
    secret = (folder / SECRET_FILE).read_text().strip()
    _run(settings, "install")
    _run(
        settings, "create", "user", "--user-name", PERSON, "--password", PASSWORD,
        "--family-name", "Lind", "--emails", "tom@workshop.example",
    )  # fmt: skip
    _run(
        settings, "create", "client", "--client-id", CLIENT, "--client-secret", secret,
        "--client-name", "Wear Atlas", "--redirect-uris", callback,
        "--post-logout-redirect-uris", callback, "--scope", "openid", "--scope", "email",
        "--scope", "profile", "--grant-types", "authorization_code", "--response-types", "code",
        "--token-endpoint-auth-method", "client_secret_basic",
        "--id-token-signed-response-alg", "RS256", "--client-uri", callback.rpartition("/")[0],
    )  # fmt: skip
    _run(settings, "set", "client", CLIENT, "--audience", CLIENT)  # or signing out is refused
    with (folder / "provider.log").open("w") as said:
        process = subprocess.Popen(
            [
                COMMAND, "run", "--bind", f"{HOST}:{port}",
                "--certfile", str(folder / "cert.pem"), "--keyfile", str(folder / "key.pem"),
            ],
            env=_surroundings(settings),
            cwd=folder,
            stdout=said,
            stderr=subprocess.STDOUT,
        )  # fmt: skip
    base = f"https://localhost:{port}"
    try:
        wait_until_up(
            base, process, folder / "provider.log", authority, "/.well-known/openid-configuration"
        )
        yield f"{base}/.well-known/openid-configuration"
    finally:
        process.terminate()
        process.wait(timeout=20)


def _settle(folder: Path, settings: Path, port: int) -> None:
    """Its settings: a session secret, the key that signs its word, and its own address."""
    made = subprocess.run(
        [COMMAND, "jwk", "create", "rsa"], capture_output=True, text=True, check=True, cwd=folder
    )
    key = made.stdout[made.stdout.index("{") : made.stdout.rindex("}") + 1]
    pairs = ", ".join(f"{name} = {json.dumps(v)}" for name, v in json.loads(key).items())
    settings.write_text(
        f'SECRET_KEY = "only-for-this-test-{os.urandom(16).hex()}"\n'
        f'SERVER_NAME = "localhost:{port}"\n'
        f'[CANAILLE]\nDATABASE = "sql"\nHTMX = false\n'
        f'[CANAILLE_SQL]\nDATABASE_URI = "sqlite:///{folder / "people.sqlite"}"\n'
        f"[CANAILLE_OIDC]\nACTIVE_JWKS = [{{ {pairs} }}]\n"
        f'TRUSTED_DOMAINS = ["{HOST}"]\n'
    )


def _surroundings(settings: Path) -> dict[str, str]:
    return os.environ | {"CANAILLE_CONFIG": str(settings)}


def _run(settings: Path, *arguments: str) -> None:
    done = subprocess.run(
        [COMMAND, *arguments],
        env=_surroundings(settings),
        cwd=settings.parent,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout + done.stderr
