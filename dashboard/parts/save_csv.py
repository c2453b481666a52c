"""The button that saves the rows of a page as a CSV file."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard.sieve import csv


def save_csv(
    rows: pd.DataFrame,
    name: str,
    label: str = "Save as CSV",
    *,
    made: Callable[[pd.DataFrame], pd.DataFrame] = lambda rows: rows,
) -> None:
    """A button that saves ``rows``; ``name`` is the file's stem and, behind ``csv_``, its key.

    ``made`` makes the file's rows of them, once the button is pressed.
    """
    st.download_button(
        label,
        data=lambda: csv(made(rows)),
        file_name=f"{name}.csv",
        mime="text/csv",
        key=f"csv_{name}",
        on_click="ignore",
        disabled=rows.empty,
    )
