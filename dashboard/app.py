"""The dashboard's entry: its pages, linked to one another by address."""

import streamlit as st

from dashboard.signing_in import who_asks

st.set_page_config(layout="wide", page_title="Wear Atlas")
who_asks()  # nobody unknown comes further, whatever page was asked for
st.navigation(
    [
        st.Page("pages/worklist.py", title="Worklist: Wear Atlas", default=True),
        st.Page("pages/bench.py", title="Bench: Wear Atlas", url_path="bench"),
        st.Page("pages/register.py", title="Register: Wear Atlas", url_path="register"),
        st.Page("pages/job.py", title="Close a job: Wear Atlas", url_path="job"),
        st.Page("pages/tags.py", title="Tags: Wear Atlas", url_path="tags"),
        st.Page("pages/bike.py", title="Bike: Wear Atlas", url_path="bike"),
        st.Page("pages/trust.py", title="How far to trust it: Wear Atlas", url_path="trust"),
        st.Page("pages/wear.py", title="Wear map: Wear Atlas", url_path="wear"),
        st.Page("pages/costs.py", title="Costs and levels: Wear Atlas", url_path="costs"),
        st.Page("pages/parts.py", title="Parts: Wear Atlas", url_path="parts"),
        st.Page("pages/checks.py", title="Checks: Wear Atlas", url_path="checks"),
        st.Page("pages/fleet.py", title="Fleet: Wear Atlas", url_path="fleet"),
        st.Page("pages/repairs.py", title="Repairs: Wear Atlas", url_path="repairs"),
        st.Page("pages/hand_in.py", title="Hand files in: Wear Atlas", url_path="hand_in"),
        st.Page("pages/settings.py", title="Settings: Wear Atlas", url_path="settings"),
        st.Page("pages/start.py", title="Start: Wear Atlas", url_path="start"),
        st.Page("pages/session.py", title="Bench test: Wear Atlas", url_path="session"),
    ],
    position="hidden",
).run()
