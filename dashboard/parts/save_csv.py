"""The button that saves the rows of a page as a CSV file."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.sieve import csv


def save_csv(rows: pd.DataFrame, name: str, label: str = "Save as CSV") -> None:
    """A button that saves ``rows``; ``name`` is the file's stem and, behind ``csv_``, its key."""
    st.download_button(
        label,
        data=lambda: csv(rows),
        file_name=f"{name}.csv",
        mime="text/csv",
        key=f"csv_{name}",
        on_click="ignore",
        disabled=rows.empty,
    )
