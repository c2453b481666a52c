"""Everything that is installed is named in a lock, pinned and with hashes; no network is needed."""

import re
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from pipeline.environment import (
    CHECKOUT,
    CLUSTER_REQUIREMENTS,
    LOGGER_REQUIREMENTS,
    NETWORK_REQUIREMENTS,
    TEST_REQUIREMENTS,
)

LOCKS = (
    "requirements.txt",
    NETWORK_REQUIREMENTS,
    LOGGER_REQUIREMENTS,
    CLUSTER_REQUIREMENTS,
    TEST_REQUIREMENTS,
)
_ENTRY = re.compile(
    r"(?P<pin>[^\s#][^\\\n]*?) \\\n(?P<hashes>(?:    --hash=sha256:[0-9a-f]{64}(?: \\)?\n)+)"
)


def _text(name: str) -> str:
    return Path(CHECKOUT, name).read_text(encoding="utf-8")


def _pinned(name: str) -> list[Requirement]:
    return [Requirement(found["pin"]) for found in _ENTRY.finditer(_text(name))]


def _named(name: str) -> dict[str, str]:
    """Names and versions of what a lock holds on this system."""
    return {
        canonicalize_name(one.name): str(one.specifier)
        for one in _pinned(name)
        if one.marker is None or one.marker.evaluate()
    }


@pytest.mark.parametrize("name", LOCKS)
def test_each_line_is_a_pin_or_a_hash_and_nothing_says_where_from(name):
    rest = re.sub(r"^#.*\n", "", _ENTRY.sub("", _text(name)), flags=re.MULTILINE)
    assert rest.strip() == ""
    assert not re.search(r"://|--(index|extra|find|trusted)", _text(name))
    assert all(str(one.specifier).startswith("==") for one in _pinned(name))


@pytest.mark.parametrize("name", LOCKS)
def test_what_is_named_by_hand_is_locked_as_named(name):
    source = _text(name).split("\n", 1)[0].removeprefix("# Made from ").split(":")[0]
    by_hand = [Requirement(line) for line in _text(source).splitlines()]
    locked = _named(name)
    assert by_hand
    for one in by_hand:
        assert locked[canonicalize_name(one.name)] == str(one.specifier)


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_leaves_out_nothing_that_its_packages_need(name):
    locked = _named(name)
    for package, specifier in locked.items():
        try:
            assert f"=={version(package)}" == specifier
            needed = [Requirement(text) for text in requires(package) or ()]
        except PackageNotFoundError:
            continue  # of a lock that this environment did not need
        missing = {
            canonicalize_name(one.name)
            for one in needed
            if one.marker is None or one.marker.evaluate({"extra": ""})
        } - set(locked)
        assert not missing, package


def test_versions_agree_between_the_locks():
    seen: dict[str, str] = {}
    for name in LOCKS:
        for package, specifier in _named(name).items():
            assert seen.setdefault(package, specifier) == specifier


def test_wheels_of_other_systems_are_covered():
    for package in ("numpy", "duckdb", "pyarrow"):
        (hashes,) = (
            found["hashes"].count("sha256:")
            for found in _ENTRY.finditer(_text("requirements.txt"))
            if found["pin"].startswith(f"{package}==")
        )
        assert hashes > 12, package  # one system has one wheel for each of its Pythons
