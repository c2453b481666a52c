import re

from dashboard.network.headers import content_policy, security_headers


def test_nothing_comes_from_elsewhere_and_no_unknown_script_runs():
    policy = content_policy("bench.example:8650")
    parts = dict(part.split(" ", 1) for part in policy.split("; "))
    assert parts["default-src"] == "'self'"
    assert "'unsafe-inline'" not in parts["script-src"]
    assert parts["connect-src"] == "'self' wss://bench.example:8650"
    for name in ("object-src", "frame-src", "frame-ancestors"):
        assert parts[name] == "'none'"
    assert not re.search(r"https?:|\*", policy)
    assert len(re.findall(r"'sha256-[A-Za-z0-9+/]{43}='", parts["script-src"])) == 3


def test_the_other_headers_are_there():
    headers = security_headers("bench.example")
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-frame-options"] == "DENY"
