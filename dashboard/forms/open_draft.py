"""A form begun on screen: what was typed stands on the disk after each change.

The draft's name stands in the address, so that a reload, or another device that opens the same
address, goes on where it was left.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, time

import streamlit as st

from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.typed.drafts import (
    Draft,
    Value,
    draft,
    drop_draft,
    keep_draft,
    keep_sweep,
    kept_sweep,
    new_draft_name,
)


@dataclass(frozen=True)
class OpenDraft:
    """The draft that a form on the page belongs to; ``of`` says what is being entered."""

    home: Home
    asker: Asker
    name: str
    of: str

    def key(self, field: str) -> str:
        """The key of a field's widget."""
        return f"draft_{self.name}_{field}"

    def value(self, field: str) -> object:
        """What stands in a field, None while blank."""
        return st.session_state.get(self.key(field))

    def put_back(self, fields: Iterable[str]) -> None:
        """Let what the draft holds stand in fields that this session has not shown before."""
        kept = self._kept()
        for field in fields:
            if self.key(field) not in st.session_state and field in kept:
                st.session_state[self.key(field)] = _from_plain(kept[field])

    def start_with(self, **values: object) -> None:
        """Let a field that is blank begin with a value."""
        for field, value in values.items():
            if self.key(field) not in st.session_state and field not in self._kept():
                st.session_state[self.key(field)] = value

    def note(self, fields: Iterable[str], *, set_by_itself: Collection[str] = ()) -> None:
        """Write what stands in the fields to the disk, where any of it has changed.

        A form that holds nothing but fields ``set_by_itself`` is not begun yet.
        """
        values = {}
        for field in fields:
            value = self.value(field)
            if value not in (None, ""):
                values[field] = _to_plain(value)
        begun = self._kept() or set(values) - set(set_by_itself) or self.sweep is not None
        if begun and values != self._kept():
            keep_draft(self.home, self.asker, self.name, self.of, values)
            st.session_state[self._mark] = values

    @property
    def is_begun(self) -> bool:
        """Whether anything of it is on the disk."""
        return bool(self._kept())

    @property
    def sweep(self) -> bytes | None:
        """The sweep dropped in so far."""
        return kept_sweep(self.home, self.asker, self.name)

    def keep_sweep(self, content: bytes | None) -> None:
        """Keep a sweep beside the draft, or take it away."""
        keep_sweep(self.home, self.asker, self.name, content)

    def drop(self) -> None:
        """Take the draft away."""
        drop_draft(self.home, self.asker, self.name)
        st.session_state.pop(self._mark, None)
        st.session_state.pop(_new(self.of), None)

    @property
    def _mark(self) -> str:
        return f"kept_{self.name}"

    def _kept(self) -> dict[str, Value]:
        """What the disk holds, read once a session."""
        if self._mark not in st.session_state:
            found = draft(self.home, self.asker, self.name)
            st.session_state[self._mark] = found.values if found else {}
        return st.session_state[self._mark]


def open_draft(home: Home, asker: Asker, of: str) -> OpenDraft:
    """The draft named in the address where it is of the same thing, else one with a new name."""
    named = st.query_params.get("draft", "")
    found = _known(home, asker, named)
    if found is not None and found.of == of:
        return OpenDraft(home, asker, named, of)
    if _new(of) not in st.session_state:
        st.session_state[_new(of)] = new_draft_name()
    name = st.session_state[_new(of)]
    if named != name:
        st.query_params["draft"] = name
    return OpenDraft(home, asker, name, of)


def _new(of: str) -> str:
    return f"new_draft_{of}"


def _known(home: Home, asker: Asker, name: str) -> Draft | None:
    try:
        return draft(home, asker, name) if name else None
    except ValueError:
        return None


def _to_plain(value: object) -> Value:
    if isinstance(value, (date, time)):
        return f"{type(value).__name__}:{value.isoformat()}"
    return value  # type: ignore[return-value] - widgets give text, numbers and lists else


def _from_plain(value: Value) -> object:
    if isinstance(value, str) and value.startswith("date:"):
        return date.fromisoformat(value.removeprefix("date:"))
    if isinstance(value, str) and value.startswith("time:"):
        return time.fromisoformat(value.removeprefix("time:"))
    return value
