"""What looking back from single dates showed, kept until all dates are done.

A build that is cancelled, or loses its workers, so goes on with the dates that are missing. A part
counts only for the very records it was scored on.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import pandas as pd

from pipeline.warehouse.kept_fit import keep_frames, kept_frames

_FRAME = "scores"


@dataclass
class LookedBackParts:
    """Parts in the folder of kept models; ``rests_on`` names the fit and the code."""

    folder: Path
    rests_on: str
    _records: dict[date, str] = field(default_factory=dict)

    def found(self, at: date, records: Iterable[pd.DataFrame | None]) -> pd.DataFrame | None:
        """The scores kept of a date, if they were made of these records."""
        self._records[at] = _digest(records)
        kept = kept_frames(self.folder, _name(at), self._rests_on(at))
        return kept[_FRAME] if kept else None

    def keep(self, at: date, scores: pd.DataFrame) -> None:
        """Keep the scores of a date whose records ``found`` was asked with."""
        with suppress(OSError):  # it saves time and is never needed
            keep_frames(self.folder, _name(at), {_FRAME: scores}, self._rests_on(at))

    def clear(self) -> None:
        """Take all parts away: the whole is kept."""
        for path in self.folder.glob(_name("[0-9]*")):
            path.unlink(missing_ok=True)

    def _rests_on(self, at: date) -> str:
        return f"{self.rests_on}/{self._records[at]}"


def _name(at: date | str) -> str:
    return f"looked_back_{at}"


def _digest(records: Iterable[pd.DataFrame | None]) -> str:
    whole = hashlib.sha256()
    for frame in records:
        if frame is None:
            whole.update(b"none")
            continue
        whole.update(repr([*frame.dtypes.items()]).encode())
        whole.update(pd.util.hash_pandas_object(frame, index=False).to_numpy().tobytes())
    return whole.hexdigest()
