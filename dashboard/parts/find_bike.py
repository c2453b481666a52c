"""Find a bike: by the tag on it, by part of its number, plate or model."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.markup import Html, joined, link, tag
from dashboard.words import counted, day, known
from pipeline.access.bench_view import BIKES_FOUND

_HELP = "Scan the bike's tag into the field, or type part of its number, plate or model."


def find_bike(shown: records.Shown, title: str, page: str) -> str | None:
    """The bike named in the address; without one, a field to find it and None."""
    unit_id = st.query_params.get("unit", "")
    if unit_id:
        return unit_id
    st.set_page_config(page_title=f"{title}: Wear Atlas")
    surround.top_line(surround.worklist_link(), surround.BENCH)
    st.html(joined([tag("h1", title), tag("p", _HELP)]))
    with (
        st.form("find_bike", border=False),
        st.container(horizontal=True, vertical_alignment="bottom"),
    ):
        typed = st.text_input("Bike", key="find_bike_text", autocomplete="off", width=420)
        st.form_submit_button("Find", key="find_bike_go", type="primary")
    sought = scanned(typed or "")
    if sought:
        _found(records.found_bikes(shown, sought), sought, page)
    new, tags = (
        link(w, to, "wa-pressed") for w, to in (("register it", "register"), ("tags", "tags"))
    )
    st.html(
        tag("p", "A bike that was never here: ", new, ". To scan bikes from now on: ", tags, ".")
    )
    return None


def scanned(text: str) -> str:
    """What a scanner typed: the bike's number out of a tag's address, anything else as it is."""
    text = text.strip()
    if "unit=" not in text:
        return text
    return next(iter(parse_qs(urlsplit(text).query).get("unit", [text])), text)


def _found(bikes: pd.DataFrame, sought: str, page: str) -> None:
    exact = bikes[bikes["unit_id"].str.casefold().eq(sought.casefold())]
    if len(exact) == 1:
        st.switch_page(f"pages/{page}.py", query_params={"unit": exact["unit_id"].iloc[0]})
    if bikes.empty:
        surround.nothing(f"No bike's number, plate or model holds “{sought}”.")
        return
    rows = bikes.head(BIKES_FOUND).to_dict("records")
    more = len(bikes) > BIKES_FOUND
    said = f"{counted(len(rows), 'bike')}{' and more: type more of it' if more else ''}."
    items = [tag("li", _line(row, page)) for row in rows]
    st.html(joined([tag("p", said, role="status"), tag("ul", *items)]))


def _line(row: dict, page: str) -> Html:
    same = row["label"] == row["unit_id"]
    name = row["label"] if same else f"{row['label']} ({row['unit_id']})"
    gone = ""
    if known(row["out_of_service_on"]):
        gone = f", out of service since {day(row['out_of_service_on'])}"
    to = link(f"Bike {name}", page, "wa-pressed", unit=row["unit_id"])
    return joined([to, f", {row['model_code']}, shop {row['shop_id']}{gone}"])
