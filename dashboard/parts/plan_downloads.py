"""The plan of checks taken home: as calendar entries and as CSV."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.parts.save_csv import save_csv
from dashboard.wording.check_plan_words import rounded
from pipeline.access.check_plan_view import check_calendar


def plan_downloads(visits: pd.DataFrame, events: pd.DataFrame, *, name: str) -> None:
    """Buttons that save CHECK_VISITS and CHECK_EVENTS; ``name`` is the files' stem."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.download_button(
            "Save for a calendar (.ics)",
            data=lambda: check_calendar(events),
            file_name=f"{name}.ics",
            mime="text/calendar",
            key=f"{name}_ics",
            on_click="ignore",
            disabled=events.empty,
        )
        save_csv(visits, name, "Save the visits as CSV", made=_without_uid)


def _without_uid(visits: pd.DataFrame) -> pd.DataFrame:
    return rounded(visits.drop(columns="uid"))
