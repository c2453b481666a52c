"""What repairs came to: jobs without a fault found, and jobs that came back."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.charts.repairs import rates_chart
from dashboard.markup import bullets, joined, link, tag
from dashboard.parts.show_chart import show_chart
from dashboard.wording.repairs_words import (
    GROUPS,
    RATES,
    counted_words,
    rate_reading,
    rate_words,
    what_counts,
)
from dashboard.wording.saving_words import saved_reading, saved_rests_on
from dashboard.wording.what_if_words import saving_ahead
from dashboard.words import counted
from pipeline.access.repairs_view import RepairsView

TITLE = "What repairs came to"


def show(shown: records.Shown) -> None:
    """Draw the page."""
    view = records.repairs(shown)
    surround.top_line(surround.worklist_link(), TITLE)
    surround.which_records(view.edition)
    as_of = surround.records_as_of(view.edition)
    st.html(joined([tag("h1", TITLE), tag("p", as_of, class_="wa-quiet")]))
    if not view.rates["n"].sum():
        surround.nothing("No closed job is on record, so that there is nothing to count.")
        _saved(view)
        return
    surround.show_cautions(whole=False)
    chosen = st.radio("By", list(GROUPS), key="repairs_by", horizontal=True, bind="query-params")
    for rate, name in RATES.items():
        _rate(view.rates, rate, name, GROUPS[chosen])
    surround.heading("What is counted")
    st.html(bullets(what_counts(view.linked, view.comeback_days)))
    _saved(view)


def _saved(view: RepairsView) -> None:
    """What the advice has saved by what came of it, and what it is expected to save ahead."""
    currency = view.settings.currency
    surround.heading("What the advice is estimated to have saved")
    st.html(tag("p", tag("strong", saved_reading(view.saved, currency))))
    if view.saved.since is not None:
        st.html(bullets(saved_rests_on(view.saved)))
    ahead = saving_ahead(view.expected, currency)
    if ahead:
        st.html(tag("h3", f"In the {counted(view.settings.planning_horizon_days, 'day')} ahead"))
        st.html(joined([tag("p", sentence) for sentence in ahead]))
    costs = link("Costs and levels that this rests on", "costs", "wa-pressed")
    trust = link("What was advised, and what came of it", "trust", "wa-pressed")
    st.html(tag("p", costs, ". ", trust, "."))


def _rate(rates: pd.DataFrame, rate: str, name: str, by: str) -> None:
    surround.heading(name)
    rows = rates[rates["rate"].eq(rate) & rates["by"].isin(["all", by])]
    if not rows["n"].sum():
        surround.nothing(
            "No job has been closed for long enough to say whether it comes back."
            if rate == "comeback"
            else "No job counts."
        )
        return
    columns = {
        by.capitalize(): "group_name",
        "Counted": counted_words,
        "Of 100 jobs": rate_words,
    }
    rows = rows.sort_values("n", ascending=False)
    reading = rate_reading(rates, rate, by)
    show_chart(
        partial(rates_chart, rates, rate, by, f"{name}, by {by}"), reading, rows, columns, name=rate
    )


if __name__ == "__main__":
    surround.page(show)
