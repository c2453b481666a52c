"""What owners say of parts passed between shops: how it stands, and the form to say it."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import records
from dashboard.forms.entry_troubles import not_saved, saved, say_once
from dashboard.markup import bullets, tag
from dashboard.wording.consent_words import (
    FOLD,
    GIVES,
    HOW,
    MEANS,
    NOTHING_SAID,
    TAKES,
    consent_words,
    kept_words,
    offers_words,
    shop_words,
)
from pipeline.access.scope.allowed import NotAllowedError
from pipeline.access.transfers_view import OFFERED, transfers_view
from pipeline.intake.settings.transfer_consents import keep_consent

_SAVED = "consent_saved"


def own_shops(shown: records.Shown) -> dict[str, str]:
    """Names by number of the shops the reader speaks for; none without another to pass parts to."""
    rows = records.stock_book(shown).rows
    names = dict(zip(rows["shop_id"], rows["shop_name"], strict=True))
    if shown.asker.shops is None:  # all shops of the home
        return names if len(names) > 1 else {}
    return {shop: name for shop, name in names.items() if shop in shown.asker.shops}


def consent_part(shown: records.Shown, names: dict[str, str]) -> None:
    """What waits for the reader, and a fold with the form; ``names`` of their shops by id."""
    rows = transfers_view(shown.home, shown.asker)
    rows = rows[rows["shop_id"].isin(list(names))]
    say_once(_SAVED)
    offers = int(rows["state"].eq(OFFERED).sum())
    if offers and not shown.asker.sees_all:
        st.html(tag("p", offers_words(offers), class_="wa-said"))
    fold = st.expander(FOLD, key="consent_fold", on_change="rerun")
    if fold.open:
        with fold:
            _inside(shown, names, rows)


def _inside(shown: records.Shown, names: dict[str, str], rows: pd.DataFrame) -> None:
    st.html(bullets(MEANS, "wa-quiet"))
    shop_id = _shop(names)
    own = rows[rows["shop_id"].eq(shop_id)].to_dict("records")
    st.html(tag("h3", f"How it stands for {shop_words(shop_id, names)}"))
    stands = [consent_words(row, names) for row in own]
    st.html(bullets(stands) if stands else tag("p", NOTHING_SAID))
    with st.form(f"consent_form_{shop_id}", border=False):
        st.html(tag("p", HOW, class_="wa-quiet"))
        with st.container(horizontal=True):
            gives = _others(GIVES, f"consent_gives_{shop_id}", shop_id, names, own, gives=True)
            takes = _others(TAKES, f"consent_takes_{shop_id}", shop_id, names, own, gives=False)
        pressed = st.form_submit_button("Keep this", key=f"consent_save_{shop_id}")
    if pressed and _kept(shown, shop_id, gives, takes):
        after = transfers_view(shown.home, shown.asker)
        states = after.loc[after["shop_id"].eq(shop_id), "state"]
        st.session_state[_SAVED] = kept_words(shop_id, names, states)
        st.rerun()


def _shop(names: dict[str, str]) -> str:
    """The one own shop, or the one chosen of several."""
    if len(names) == 1:
        return next(iter(names))
    return st.selectbox(
        "Say it for",
        list(names),
        key="consent_shop",
        format_func=lambda shop: shop_words(shop, names),
        width=340,
    )


def _others(
    label: str, key: str, shop_id: str, names: dict[str, str], own: list[dict], *, gives: bool
) -> list[str]:
    """The shops that the own one may give to, or take from; others can be typed."""
    told = {row["other"]: row["state"] for row in own if row["gives"] == gives}
    others = list(dict.fromkeys([*told, *(row["other"] for row in own), *names]))
    chosen = st.multiselect(
        label,
        [other for other in others if other != shop_id or other in told],
        [other for other, state in told.items() if state != OFFERED],
        key=key,
        format_func=lambda shop: shop_words(shop, names),
        accept_new_options=True,
        placeholder="Choose or type a shop's number",
        wrap=True,
        width=500,
    )
    # an own shop may be typed by its name as well
    typed = {
        words: shop for shop, name in names.items() for words in (name, shop_words(shop, names))
    }
    return [typed.get(other, other) for other in chosen]


def _kept(shown: records.Shown, shop_id: str, gives: list[str], takes: list[str]) -> bool:
    """Keep what the form says; where it cannot stand, say why."""
    try:
        return saved(lambda: keep_consent(shown.home, shop_id, gives, takes, asker=shown.asker))
    except NotAllowedError:
        raise
    except OSError as error:
        not_saved([str(error)])
        return False
