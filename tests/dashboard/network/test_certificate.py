from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
import trustme

from dashboard.network.certificate import CertificateError, look_at_certificate
from tests.dashboard.network.test_door import NETWORK

ENDS = datetime(2027, 3, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("certificates")
    issued = trustme.CA().issue_cert("bench.example", "*.shop.example", "10.0.0.7", not_after=ENDS)
    (where / "cert.pem").write_bytes(b"".join(blob.bytes() for blob in issued.cert_chain_pems))
    issued.private_key_pem.write_to_path(where / "key.pem")
    trustme.CA().issue_cert("bench.example").private_key_pem.write_to_path(where / "other.pem")
    return where


def _network(folder, *hosts, key="key.pem"):
    paths = {"certificate": str(folder / "cert.pem"), "key": str(folder / key)}
    return replace(NETWORK, allowed_hosts=hosts or ("bench.example",), **paths)


def test_a_good_certificate_needs_no_word(folder):
    now = ENDS - timedelta(days=60)
    assert look_at_certificate(_network(folder), now) == []
    assert look_at_certificate(_network(folder, "a.shop.example", "10.0.0.7"), now) == []
    assert look_at_certificate(NETWORK) == []  # behind a proxy there is none


def test_one_that_ends_soon_or_does_not_name_a_host_is_told_of(folder):
    told = look_at_certificate(_network(folder), ENDS - timedelta(days=5))
    assert told == ["The certificate ends on 2027-03-01."]
    hosts = ("bench.example", "else.example", "a.b.shop.example", "10.0.0.8")
    (told,) = look_at_certificate(_network(folder, *hosts), ENDS - timedelta(days=60))
    assert told.startswith("The certificate does not name else.example, a.b.shop.example, 10.0.0.8")


def test_one_that_cannot_be_served_is_refused(folder):
    with pytest.raises(CertificateError, match="2027-03-01 only"):
        look_at_certificate(_network(folder), ENDS)
    with pytest.raises(CertificateError, match="cannot be used together"):
        look_at_certificate(_network(folder, key="other.pem"), ENDS - timedelta(days=60))
    with pytest.raises(CertificateError, match="cannot be used together"):
        look_at_certificate(_network(folder, key="cert.pem"), ENDS - timedelta(days=60))
