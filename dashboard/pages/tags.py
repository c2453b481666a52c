"""Print tags for bikes: a code that opens the bike at the bench when it is scanned."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.markup import Html, joined, link, tag
from dashboard.prints.tags import one_tag, tag_sheet
from dashboard.signing_in import reached_at
from dashboard.words import counted
from pipeline.access.tags_view import PAGE, tag_content

SHOWN = 6
_BARE = (
    "No address of this dashboard is set, so a tag holds the bike's bare number: scan it into the "
    "field on the page Bench. With an address, a phone's camera opens the bike by itself"
)
_ALONE = (
    ", as far as the phone can reach this dashboard: as it was started, it answers this machine "
    "alone."
)


def show(shown: records.Shown) -> None:
    """Draw the page."""
    view = records.tags(shown)
    st.set_page_config(page_title="Tags: Wear Atlas")
    surround.top_line(surround.worklist_link(), link("Bench", "bench"), "Tags of bikes")
    surround.which_records(view.edition)
    st.html(tag("h1", "Tags of bikes"))
    st.html(_what_they_hold(view.base_address))
    if view.bikes.empty:
        surround.nothing("No bike is on record yet.")
        return
    chosen = _chosen(view.bikes)
    st.html(tag("p", f"{counted(len(chosen), 'tag')} to print.", role="status"))
    first = chosen.head(SHOWN).to_dict("records")
    tags = [one_tag(row, view.base_address) for row in first]
    st.html(tag("ul", *tags, class_="wa-tags"))
    st.download_button(
        f"Save {counted(len(chosen), 'tag')} as a page to print",
        data=lambda: tag_sheet(chosen, view.base_address).encode(),
        file_name="tags.html",
        mime="text/html",
        key="save_tags",
        on_click="ignore",
        disabled=chosen.empty,
    )


def _what_they_hold(base_address: str) -> Html:
    if not base_address:
        bare = tag("p", _BARE, _who_reaches_it())
        return joined([bare, surround.ways(surround.way("Set the address", "settings"))])
    example = tag("code", tag_content("BIKE", base_address))
    return tag("p", "Scanned, a tag opens ", example, f", the bike on the page {PAGE.title()}.")


def _who_reaches_it() -> Html:
    address = reached_at()
    if address is None:
        return joined([_ALONE, " ", surround.way("How others reach it", "start")])
    return joined(
        [", once its holder has signed in: here the address is ", tag("code", address), "."]
    )


def _chosen(bikes: pd.DataFrame) -> pd.DataFrame:
    """All bikes of a shop or fleet, or some of them."""
    with st.container(horizontal=True):
        shop = st.selectbox(
            "Shop",
            sorted(bikes["shop_id"].unique()),
            index=None,
            key="tags_shop",
            placeholder="all shops",
            width=280,
        )
        fleet = st.selectbox(
            "Fleet",
            sorted(bikes["fleet_id"].dropna().unique()),
            index=None,
            key="tags_fleet",
            placeholder="all bikes",
            width=280,
        )
        found = bikes[bikes["shop_id"].eq(shop)] if shop else bikes
        found = found[found["fleet_id"].eq(fleet)] if fleet else found
        named = dict(zip(found["unit_id"], found["label"], strict=True))
        asked = st.query_params.get("unit")
        some = st.multiselect(
            "Only these bikes",
            list(named),
            default=[asked] if asked in named else None,
            key="tags_bikes",
            format_func=lambda unit: named.get(unit, unit),
            placeholder="all of them",
            width=420,
        )
    return found[found["unit_id"].isin(some)] if some else found


if __name__ == "__main__":
    surround.page(show)
