"""Which role may read which view, save which rows and do which deeds: declared here, once.

A view or an entry that is not declared is refused to everybody, so that a new one is open to no
one before somebody said to whom.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar

from pipeline.asker import OPERATOR, OWNER, TECHNICIAN, Asker
from pipeline.home import Home

P = ParamSpec("P")
R = TypeVar("R")

_BENCH = frozenset({TECHNICIAN, OWNER})
_OFFICE = frozenset({OWNER})
_FLEET = frozenset({OWNER, OPERATOR})
_EVERYONE = frozenset({TECHNICIAN, OWNER, OPERATOR})

#: Roles by view: the name of the function that reads it.
VIEWS: dict[str, frozenset[str]] = {
    "worklist_view": _BENCH,
    "worklist_leaf": _BENCH,
    "worklist_offered": _BENCH,
    "worklist_found": _BENCH,
    "worklist_set_aside": _BENCH,
    "with_pending_answers": _BENCH,
    "pending_answer_count": _BENCH,
    "find_bikes": _BENCH,
    "bench_view": _BENCH,
    "register_view": _BENCH,
    "job_view": _BENCH,
    "tags_view": _BENCH,
    "trust_view": _BENCH,
    "wear_view": _BENCH,
    "records_view": _BENCH,
    "set_aside_rows": _BENCH,
    "set_aside_in_files": _BENCH,
    "latest_hand_ins": _BENCH,
    "became_of": _BENCH,
    "what_if_base": _OFFICE,
    "stock_view": _OFFICE,
    "stock_book": _OFFICE,
    "repairs_view": _OFFICE,
    "settings_view": _OFFICE,
    "deeds_view": _OFFICE,
    "transfers_view": _OFFICE,
    "fleet_view": _FLEET,
    "check_plan_view": _FLEET,
    "start": _OFFICE,
    "bike_count": _EVERYONE,
    "bike_view": _EVERYONE,
    "session_view": _EVERYONE,
    "pending_session_view": _EVERYONE,
    "sweep_window": _EVERYONE,
    "sweep_over_travel": _EVERYONE,
    "overlay_tests": _EVERYONE,
    "pending_samples": _EVERYONE,
    "pending_sweep_window": _EVERYONE,
    "pending_over_travel": _EVERYONE,
    "standing_rows": _EVERYONE,
}

#: Roles by contract table: who may hand in or type rows of it.
ENTRIES: dict[str, frozenset[str]] = {
    "shops": _OFFICE,
    "units": _EVERYONE,
    "odometer": _BENCH,
    "parts": _BENCH,
    "fitments": _BENCH,
    "sensors": _BENCH,
    "test_sessions": _BENCH,
    "sweeps": _BENCH,
    "repair_outcomes": _BENCH,
    "stock": _OFFICE,
    "calendar": _EVERYONE,
    "ride_log": _BENCH,
    "advice_answers": _OFFICE,
    "retract": _EVERYONE,
}

#: Views of what holds for the whole home: for those who see all of it.
_OF_ALL = frozenset({"start", "settings_view"})

_ROLES_SAID = {
    _BENCH: "technicians and owners of a shop",
    _OFFICE: "owners of a shop",
    _FLEET: "owners of a shop and operators of a fleet",
}


class NotAllowedError(PermissionError):
    """The asker's role does not include this; the message says whose it is."""


def allowed(asker: Asker, view: str) -> bool:
    """Whether the asker's role may read a view; False for one that is not declared."""
    if view in _OF_ALL and not asker.sees_all:
        return False
    return asker.role in VIEWS.get(view, frozenset())


def may_enter(asker: Asker, table: str) -> bool:
    """Whether the asker's role may enter rows of a contract table; False for one not declared."""
    return asker.role in ENTRIES.get(table, frozenset())


def require(asker: Asker, view: str) -> None:
    """Refuse a view that the asker's role may not read.

    Raises
    ------
    NotAllowedError
        The role may not, or the view is not declared.
    """
    if not allowed(asker, view):
        whom = _ROLES_SAID.get(VIEWS.get(view, frozenset()), "nobody")
        if view in _OF_ALL:
            whom = "an owner who sees all shops, since it holds for all of them"
        raise NotAllowedError(f"This is for {whom}.")


def may_settle(asker: Asker) -> bool:
    """Whether the asker may change what holds for the whole home: its settings, its builds."""
    return allowed(asker, "settings_view")


def require_settling(asker: Asker) -> None:
    """Refuse what holds for the whole home to all but an owner who sees all shops.

    Raises
    ------
    NotAllowedError
        It is somebody else.
    """
    require(asker, "settings_view")


def require_consenting(asker: Asker, shop_id: str) -> None:
    """Refuse to say, for a shop, whom it passes parts to: that is for the owner who sees it.

    Raises
    ------
    NotAllowedError
        The asker is no owner, or the shop is not among theirs.
    """
    require(asker, "transfers_view")
    if asker.shops is not None and shop_id not in asker.shops:
        raise NotAllowedError("This is for the owner of that shop.")


def view(
    read: Callable[Concatenate[Home, Asker, P], R],
) -> Callable[Concatenate[Home, Asker, P], R]:
    """Mark a function as a view: it refuses roles that :data:`VIEWS` does not let read it."""
    name = read.__name__
    if name not in VIEWS:
        raise LookupError(f"The view {name} is declared for no role.")

    @wraps(read)
    def only_for_its_roles(home: Home, asker: Asker, *args: P.args, **kwargs: P.kwargs) -> R:
        require(asker, name)
        return read(home, asker, *args, **kwargs)

    return only_for_its_roles
