"""The job sheet on a test's page: made only once it is asked for, then kept."""

from __future__ import annotations

from functools import partial

import streamlit as st

from dashboard import surround
from dashboard.file_names import stem
from dashboard.markup import tag
from dashboard.records import Shown
from pipeline.access.views import SessionView
from pipeline.intake.receive import last_hand_in

_WHAT = (
    "The bike, both verdicts, readings with their good ranges, drop-outs, charts and cautions, "
    "with room for what was done and for signatures. Each is one file that needs nothing else; it "
    "is made when you ask for it, which takes some seconds."
)
_KINDS = {"pdf": ("PDF", "application/pdf"), "html": ("web page", "text/html")}


def show_job_sheet(shown: Shown, view: SessionView) -> None:
    """Buttons that make the sheet and save it."""
    surround.heading("Job sheet to print")
    st.html(tag("p", _WHAT))
    with st.container(horizontal=True):
        for kind, (words, mime) in _KINDS.items():
            st.download_button(
                f"Job sheet, {words}",
                data=partial(made, kind, shown, view),
                file_name=f"{stem(view.session['session_id'])}_job_sheet.{kind}",
                mime=mime,
                key=f"job_sheet_{kind}",
                on_click="ignore",
            )


def made(kind: str, shown: Shown, view: SessionView) -> bytes:
    """The sheet as a file: ``pdf`` or ``html``."""
    entries = "" if view.in_records else str(last_hand_in(shown.home))
    return _made(
        kind, str(shown.home.root), shown.version, view.session["session_id"], entries, view
    )


@st.cache_data(max_entries=20, show_spinner=False)
def _made(
    kind: str, root: str, version: int, session_id: str, of_entries: str, _view: SessionView
) -> bytes:
    # what prints is loaded only once something is to be printed
    from dashboard.prints.job_sheet import job_sheet
    from dashboard.prints.sheet_html import as_html
    from dashboard.prints.sheet_pdf import as_pdf

    sheet = job_sheet(_view)
    return as_pdf(sheet) if kind == "pdf" else as_html(sheet).encode()
