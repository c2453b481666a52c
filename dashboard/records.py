"""Which data home is shown, and its views, read once for each published version."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd
import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from dashboard.signing_in import who_asks
from pipeline.access import (
    bench_view,
    check_plan_view,
    fleet_view,
    records_view,
    register_view,
    repairs_view,
    stock_view,
    tags_view,
    views,
    wear_view,
    what_if,
    worklist_view,
)
from pipeline.access import set_aside_rows as set_aside
from pipeline.access import stock_book as stock_book_view
from pipeline.access.entered import pending_test
from pipeline.access.entered.pending import last_entry_of
from pipeline.access.entered.standing import standing_rows
from pipeline.access.scope.allowed import require
from pipeline.asker import Asker
from pipeline.home import DEMO, OWN, Home, demo_home, own_home
from pipeline.intake.receive import last_hand_in
from pipeline.intake.settings.settings_file import read_settings
from pipeline.intake.settings.shown_settings import ShownSettings
from pipeline.jobs import take_up
from pipeline.jobs.take_up import NotTakenUp
from pipeline.lately import Lately

#: In an address: whose records to look at, ``own`` or ``demo``.
WHICH = "records"
#: Modules of the views that do not stand in ``views``.
_FOUND_IN = {
    "worklist_view": worklist_view,
    "worklist_leaf": worklist_view,
    "worklist_offered": worklist_view,
    "check_plan_view": check_plan_view,
    "wear_view": wear_view,
    "what_if_base": what_if,
    "stock_view": stock_view,
    "repairs_view": repairs_view,
    "records_view": records_view,
    "bike_count": records_view,
    "set_aside_rows": set_aside,
    "set_aside_in_files": set_aside,
    "stock_book": stock_book_view,
    "fleet_view": fleet_view,
    "bench_view": bench_view,
    "find_bikes": bench_view,
    "pending_session_view": pending_test,
    "register_view": register_view,
    "tags_view": tags_view,
    "job_view": register_view,
}


@dataclass(frozen=True)
class Shown:
    """The home that the page reads, the version published when it was drawn, and who asks."""

    home: Home
    version: int
    asker: Asker


class NotPublishedError(views.NotThereError):
    """A shop's own home is there, and nothing is published in it yet."""


def shown_records() -> Shown:
    """A shop's own home once it exists, else the demo's; the demo's where the reader asked for it.

    Raises
    ------
    NotPublishedError
        The own home exists without published records: the demo does not stand in for it unasked.
    NotThereError
        There is no own home, and no demo either.
    """
    return shown_to(who_asks, demo_first=demo_asked_for())


def shown_to(who: Callable[[], Asker], *, demo_first: bool) -> Shown:
    """The same for anyone, whether a page is being drawn for them or not."""
    own = own_home()
    for home in (demo_home(), own) if demo_first else (own, demo_home()):
        version = views.current_version(home)
        if version is not None:
            return Shown(home, version, who())
        if home == own and own.kind is not None:
            raise NotPublishedError("Your own records are not published yet.")
    raise views.NotThereError(
        "No records have been published yet, neither a shop's own nor the demo."
    )


def demo_asked_for() -> bool:
    """Whether this reader looks at the demo, as the address or an earlier one of theirs says."""
    asked = st.query_params.get(WHICH)
    if asked in (OWN, DEMO):
        st.session_state["which_records"] = asked
        del st.query_params[WHICH]
    return st.session_state.get("which_records") == DEMO


def own_exists() -> bool:
    """Whether a shop's own home was begun."""
    return own_home().kind == OWN


def waits(home: Home, asker: Asker) -> NotTakenUp:
    """Entries that wait for a build; of what went wrong only who sees all reads more."""
    found = take_up.not_taken_up(home)
    if asker.sees_all or not found.failed:
        return found
    return replace(found, failed="who runs this dashboard finds the reason there.")


def holds_no_bike(shown: Shown) -> bool:
    """Whether no bike is on record; False where that cannot be told."""
    try:
        return _read("bike_count", shown) == 0
    except views.NotThereError:
        return False


def set_aside_rows(shown: Shown) -> dict[str, list[set_aside.SetAsideRow]]:
    """Rows to correct by table, without those corrected since the last build."""
    return _read("set_aside_rows", shown, of_entries=str(last_hand_in(shown.home)))


def set_aside_whole(shown: Shown) -> pd.DataFrame:
    """What is set aside and can only be corrected in its file."""
    return _read("set_aside_in_files", shown)


def by_hand_in_and_month(shown: Shown) -> records_view.RecordsView:
    """How many records there are, by hand-in and by month."""
    return _read("records_view", shown)


def shown_settings(shown: Shown) -> ShownSettings:
    """How values are shown, as the home's settings file has it now."""
    try:
        changed_at = shown.home.settings.stat().st_mtime_ns
    except OSError:
        return ShownSettings()
    return _read_settings(str(shown.home.root), changed_at)


@st.cache_resource(max_entries=50, show_spinner=False)
def _read_settings(root: str, changed_at: int) -> ShownSettings:
    return read_settings(Home(Path(root))).shown


def worklist(shown: Shown) -> worklist_view.WorklistView:
    """The head of the worklist of the version shown."""
    return _read("worklist_view", shown)


def worklist_leaf(
    shown: Shown, asked: worklist_view.WorklistAsked, number: int
) -> worklist_view.WorklistLeaf:
    """One leaf of the sensors asked for, with answers given since the last build."""
    return _read("worklist_leaf", shown, asked, number, of_entries=_answered_last(shown))


def worklist_offered(shown: Shown, asked: worklist_view.WorklistAsked) -> pd.DataFrame:
    """The first of the sensors asked for, to answer their advice."""
    return _read("worklist_offered", shown, asked, of_entries=_answered_last(shown))


def worklist_found(shown: Shown, asked: worklist_view.WorklistAsked) -> pd.DataFrame:
    """All the sensors asked for; not kept, as they may be many."""
    return worklist_view.worklist_found(shown.home, shown.asker, asked)


def worklist_set_aside(shown: Shown) -> pd.DataFrame:
    """All that is set aside; not kept either."""
    return worklist_view.worklist_set_aside(shown.home, shown.asker)


def _answered_last(shown: Shown) -> str:
    return str(last_entry_of(shown.home, "advice_answers"))


def bike(shown: Shown, unit_id: str) -> views.BikeView:
    """One bike's history."""
    return _read("bike_view", shown, unit_id)


def session(shown: Shown, session_id: str) -> views.SessionView:
    """One bench test, measured by itself where it was entered since the last build."""
    try:
        return _read("session_view", shown, session_id)
    except views.NotThereError:
        entered = str(last_hand_in(shown.home))
        found = _read("pending_session_view", shown, session_id, of_entries=entered)
        if found is None:
            raise
        return found


def bench(shown: Shown, unit_id: str) -> bench_view.BenchView:
    """What the bench shows of one bike, entries since the last build included."""
    return _read("bench_view", shown, unit_id, of_entries=str(last_hand_in(shown.home)))


def found_bikes(shown: Shown, text: str) -> pd.DataFrame:
    """Bikes whose id, plate or model holds a text."""
    return _read("find_bikes", shown, text, of_entries=str(last_hand_in(shown.home)))


def register(shown: Shown, unit_id: str) -> register_view.RegisterView:
    """What the forms of a bike and its sensors need; of no bike where ``unit_id`` is empty."""
    return _read("register_view", shown, unit_id, of_entries=str(last_hand_in(shown.home)))


def job(shown: Shown, unit_id: str) -> register_view.JobView:
    """What closing a job on a bike needs."""
    return _read("job_view", shown, unit_id, of_entries=str(last_hand_in(shown.home)))


def tags(shown: Shown) -> tags_view.TagsView:
    """Bikes whose tags can be printed."""
    return _read("tags_view", shown, of_entries=str(last_hand_in(shown.home)))


def on_record(shown: Shown, table: str, key: str) -> bool:
    """Whether a contract table holds a key, what was entered a moment ago included."""
    return bool(key) and key in standing_rows(shown.home, shown.asker, table, [key])


def trust(shown: Shown) -> views.TrustView:
    """How far to trust the chances."""
    return _read("trust_view", shown)


def wear(shown: Shown, part_no: str, duty: str, life_id: str | None = None) -> wear_view.WearView:
    """The wear map of a part and duty, and of one sensor."""
    return _read("wear_view", shown, part_no, duty, life_id)


def costs(shown: Shown) -> what_if.WhatIfBase:
    """What another weighing of costs and levels needs."""
    return _read("what_if_base", shown)


def stock(
    shown: Shown, shop_id: str | None = None, part_no: str | None = None
) -> stock_view.StockView:
    """What parts to order today, and one shop's part in detail."""
    return _read("stock_view", shown, shop_id, part_no)


def stock_book(shown: Shown) -> stock_book_view.StockBook:
    """What each shop has of each part, entries since the last build included."""
    return _read("stock_book", shown, of_entries=str(last_hand_in(shown.home)))


def checks(shown: Shown) -> check_plan_view.CheckPlanView:
    """Which bikes are to come in for a check, and when."""
    return _read("check_plan_view", shown)


def fleet(shown: Shown) -> fleet_view.FleetView:
    """The fleet at a glance, entries since the last build included."""
    entered = last_entry_of(shown.home, *fleet_view.ENTERED)
    return _read("fleet_view", shown, of_entries=str(entered))


def repairs(shown: Shown) -> repairs_view.RepairsView:
    """How often no fault was found, and how often a job came back."""
    return _read("repairs_view", shown)


def _read(view: str, shown: Shown, *of: Hashable, of_entries: str = "") -> object:
    """``of_entries`` is the last hand-in, for views that also show what no build holds yet."""
    asker = shown.asker
    # before what is kept, since a role may not be served what another of its scope could read
    require(asker, view)
    root = str(shown.home.root)
    key = (view, root, shown.version, of, of_entries, asker.scope)
    # by name each time, so that a view can be stood in for
    read: Callable = getattr(_FOUND_IN.get(view, views), view)
    return _KEPT.of(key, lambda: _read_anew(shown, lambda: read(shown.home, asker, *of)), _waiting)


def _read_anew(shown: Shown, read: Callable[[], object]) -> object:
    """Read a view, and let those of the home's other versions go: nobody asks for them again."""
    root = str(shown.home.root)
    _KEPT.forget(lambda key: key[1] == root and key[2] != shown.version)
    return read()


# A view is the same for all of one scope and pages only read it: kept as it is, without a copy.
_KEPT: Lately[object] = Lately(200, 256 * 2**20)


def _waiting() -> AbstractContextManager:
    """What stands on the page while a view is read; nothing where no page is being drawn."""
    return (
        st.spinner("Reading the records …")
        if get_script_run_ctx(suppress_warning=True)
        else nullcontext()
    )
