"""A bench test as far as it is typed: its cells, and the entry that it is saved as."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from dashboard.bench.steps import COLUMNS
from dashboard.forms.fields import as_cell, moment_cell
from dashboard.forms.open_draft import OpenDraft
from dashboard.forms.recording_fields import PLACES
from pipeline.access.bench_view import BenchView
from pipeline.asker import Asker

TABLE = "test_sessions"
#: Fields that a sweep brings with it.
SWEEP_FIELDS = ("sweep_channel", "meter_load_ohm")
#: What a recording may need to have said of it, and what its file is called.
RECORDING_FIELDS = ("full_scale_v", "zero_v", "levels", "recording_name")
SET_BY_ITSELF = ("sensor", "day", "clock", "step", "times_in", "zero_v")
FIELDS = (*COLUMNS, *SWEEP_FIELDS, *SET_BY_ITSELF, *RECORDING_FIELDS, *PLACES)


@dataclass(frozen=True)
class Bench:
    """The bench of one bike: what is known of it, its sensor under test, the draft, who tests."""

    view: BenchView
    sensor: dict
    draft: OpenDraft
    asker: Asker

    @property
    def session_id(self) -> str:
        """The test's identifier: it stays the same however often this draft is saved."""
        return f"{self.view.unit['unit_id'][:40]}-{self.draft.name[:10]}"

    def cells(self) -> dict[str, str]:
        """The row of ``test_sessions`` as far as it is typed, blanks left out."""
        typed = {
            name: as_cell(TABLE, name, self.draft.value(name))
            for name in (*COLUMNS, *(SWEEP_FIELDS if self.draft.sweep else ()))
        }
        when = moment_cell(self.draft.value("day"), self.draft.value("clock"))
        row = {
            "session_id": self.session_id,
            "sensor_id": self.sensor["sensor_id"],
            "shop_id": self.view.unit.get("shop_id"),
            "tested_at": when,
            **typed,
        }
        return {name: cell for name, cell in row.items() if cell}


def begin_now(draft: OpenDraft, view: BenchView) -> None:
    """Let the test be of this minute; the demo's own day where the demo is shown."""
    now = datetime.now().replace(second=0, microsecond=0)
    day: date = view.edition.as_of if view.edition.is_demo else now.date()
    draft.start_with(day=day, clock=now.time())
