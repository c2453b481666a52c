"""Which shops' parts may be passed on: each owner says it for their own shops, in the settings.

A transfer is proposed only where the giver's owner and the taker's both say so; what one of them
says is one line of ``settings.toml`` in each of two sections, and nobody else's line is touched.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from models.plans.settings import PlanSettings
from pipeline.access.scope.allowed import require_consenting
from pipeline.asker import Asker
from pipeline.home import Home, HomeError, write_new
from pipeline.intake.deeds import held_for_change
from pipeline.intake.settings.settings_edit import as_read, refuse_unreadable, set_shops_in
from pipeline.intake.settings.settings_file import (
    GIVEN_SECTION,
    TAKEN_SECTION,
    SettingsFile,
    Text,
    read_settings,
    read_text,
    settings_text,
)
from pipeline.intake.typed.entries import Trouble, entry_troubles, refuse

MOST_SHOPS = 200  # that one shop may be paired with, either way
_SECTIONS = {"gives_to": GIVEN_SECTION, "takes_from": TAKEN_SECTION}


def keep_consent(
    home: Home,
    shop_id: str,
    gives_to: Iterable[str],
    takes_from: Iterable[str],
    *,
    asker: Asker,
) -> None:
    """Keep what an owner says for one own shop; whatever it said before is replaced.

    Whether a shop of such a number is on record is not looked up, since that would tell who else
    is there.

    Parameters
    ----------
    home : Home
        Whose settings; the file is laid out with every default where there is none.
    shop_id : str
        The own shop.
    gives_to, takes_from : iterable of str
        Numbers of the shops that it may give parts to, and take parts from.
    asker : Asker
        Who says so.

    Raises
    ------
    NotAllowedError
        The asker is no owner of this shop.
    EntryError
        A number cannot stand, or is the shop's own. Nothing was written.
    HomeError
        The file cannot be read as a whole, or holds this in a form that only its writer can
        change. Nothing was written.
    """
    require_consenting(asker, shop_id)
    wanted = {"gives_to": _each_once(gives_to), "takes_from": _each_once(takes_from)}
    refuse(_troubles(shop_id, wanted))
    with held_for_change(home, "settings", asker) as tell:
        _keep(home, shop_id, wanted, tell)


def said_by(told: SettingsFile, shop_id: str) -> tuple[list[str], list[str]]:
    """What a shop's own owner says of it: whom it gives parts to, and whom it takes them from."""
    gives = _each_once(taker for giver, taker in told.given if giver == shop_id)
    return gives, _each_once(giver for giver, taker in told.taken if taker == shop_id)


def _each_once(shops: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(shop.strip() for shop in shops if shop.strip()))


def _troubles(shop_id: str, wanted: Mapping[str, Sequence[str]]) -> Iterator[Trouble]:
    """Numbers that no shop can have, and what no shop does with itself."""
    named = [("shop_id", shop_id)]
    named += [(column, shop) for column, shops in wanted.items() for shop in shops]
    rows = [{"shop_id": shop, "name": "a shop"} for _, shop in named]
    for found in entry_troubles({"shops": rows}):
        yield replace(found, column=named[found.line - 1][0])
    for line, (column, shop) in enumerate(named, start=1):
        if line > 1 and shop == shop_id:
            yield Trouble("shops", line, column, shop, "is this shop itself; expected another's")
    for column, shops in wanted.items():
        if len(shops) > MOST_SHOPS:
            told = f"{len(shops)} shops; expected {MOST_SHOPS} at the most"
            yield Trouble("shops", 0, column, "", told)


def _keep(
    home: Home,
    shop_id: str,
    wanted: Mapping[str, list[str]],
    tell: Callable[[bytes, Mapping[str, object]], None],
) -> None:
    before = read_settings(home)
    text = read_text(home.settings) if home.settings.exists() else _all_defaults()
    refuse_unreadable(text.plain, before.problems)
    now = dict(zip(wanted, said_by(before, shop_id), strict=True))
    edited = text.plain
    for column, shops in wanted.items():
        if sorted(shops) != sorted(now[column]):
            edited = set_shops_in(edited, _SECTIONS[column], shop_id, shops)
    if edited == text.plain:
        return
    new = text.as_it_was(edited)
    if not _holds(new, before, shop_id, wanted):
        raise HomeError(
            f"{home.settings.name} holds what shop {shop_id} gives or takes in a form that cannot "
            "be changed here: change it in the file. Nothing was changed."
        )
    tell(new.encode(), {"settings": _changes(shop_id, now, wanted)})
    write_new(home.settings, new)


def _all_defaults() -> Text:
    return Text(settings_text(PlanSettings()))


def _changes(
    shop_id: str, before: Mapping[str, list[str]], after: Mapping[str, list[str]]
) -> dict[str, list[str]]:
    """What changed, as the record of deeds tells it: from whom to whom."""
    words = {"gives_to": f"{shop_id} gives parts to", "takes_from": f"{shop_id} takes parts from"}
    return {
        words[column]: [", ".join(before[column]) or "none", ", ".join(shops) or "none"]
        for column, shops in after.items()
        if sorted(shops) != sorted(before[column])
    }


def _holds(text: str, before: SettingsFile, shop_id: str, wanted: Mapping[str, list[str]]) -> bool:
    """Whether a file of this text says what was meant of this shop, and all else as before."""
    found = as_read(text)
    gives, takes = said_by(found, shop_id)
    as_meant = sorted(gives) == sorted(wanted["gives_to"])
    as_meant &= sorted(takes) == sorted(wanted["takes_from"])
    same = _of_others(found, shop_id) == _of_others(before, shop_id)
    return as_meant and same and _unread_count(found) <= _unread_count(before)


def _of_others(told: SettingsFile, shop_id: str) -> tuple[object, ...]:
    given = [pair for pair in told.given if pair[0] != shop_id]
    taken = [pair for pair in told.taken if pair[1] != shop_id]
    return told.settings, told.shown, told.pooled, given, taken


def _unread_count(told: SettingsFile) -> int:
    """Problems other than that one owner says what the other does not."""
    return len(told.problems) - sum(pair not in told.taken for pair in told.given)
