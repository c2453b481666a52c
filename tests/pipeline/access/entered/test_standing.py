"""A row is taken as it stands, with what was typed since the last build above it."""

from datetime import UTC, datetime

from pipeline.access.entered.standing import standing_rows
from pipeline.intake.typed.entries import save_entry
from tests.askers import HERE


def test_published_rows_and_rows_typed_since(stocked_copy):
    home = stocked_copy
    found = standing_rows(home, HERE, "units", ["B1", "no-such"])
    assert list(found) == ["B1"]
    changed = found["B1"] | {"label": "New plate"}
    save_entry(home, {"units": [changed]}, now=datetime(2026, 6, 1, tzinfo=UTC))
    assert standing_rows(home, HERE, "units", ["B1"])["B1"] == changed
    assert changed["model_code"] == "alder"
