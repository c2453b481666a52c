"""The certificate that tablets are shown: refused where it cannot serve."""

from __future__ import annotations

import ipaddress
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509

from pipeline.intake.settings.network_file import Network

SOON = timedelta(days=21)


class CertificateError(Exception):
    """The certificate cannot be served; the message is the one sentence to show."""


def look_at_certificate(network: Network, now: datetime | None = None) -> list[str]:
    """What to be told of a certificate that can be served; nothing behind a proxy.

    Raises
    ------
    CertificateError
        It cannot be read, does not belong to its key, or its time is over or has not begun.
    """
    if network.certificate is None or network.key is None:
        return []
    _refuse_unpaired(network.certificate, network.key)
    certificate = x509.load_pem_x509_certificates(Path(network.certificate).read_bytes())[0]
    today = now or datetime.now(UTC)
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if not begins <= today < ends:
        raise CertificateError(
            f"network.toml: certificate is {network.certificate}, which holds from "
            f"{begins:%Y-%m-%d} to {ends:%Y-%m-%d} only."
        )
    told = [f"The certificate ends on {ends:%Y-%m-%d}."] if ends - today < SOON else []
    named = _names(certificate)
    missing = [host for host in network.allowed_hosts if not _is_named(host, named)]
    if missing:
        told.append(f"The certificate does not name {', '.join(missing)}: browsers will warn.")
    return told


def _refuse_unpaired(certificate: str, key: str) -> None:
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password="")
    except (ssl.SSLError, OSError, ValueError) as error:
        raise CertificateError(
            f"network.toml: certificate {certificate} and key {key} cannot be used together, or "
            f"the key has a password ({error})."
        ) from error


def _names(certificate: x509.Certificate) -> set[str]:
    try:
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return set()
    hosts = {name.lower() for name in names.get_values_for_type(x509.DNSName)}
    return hosts | {str(address) for address in names.get_values_for_type(x509.IPAddress)}


def _is_named(host: str, named: set[str]) -> bool:
    """A pattern stands for one part of a name, never for an IP address."""
    if host in named:
        return True
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return "*." + host.partition(".")[2] in named
    return False
