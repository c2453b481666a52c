"""The job sheet on a test's page: made only once it is asked for, then kept."""

from __future__ import annotations

from functools import partial

import streamlit as st

from dashboard import surround
from dashboard.markup import tag
from dashboard.parts.file_names import stem
from dashboard.prints.job_sheet import job_sheet
from dashboard.prints.sheet import Sheet
from dashboard.records import Shown
from dashboard.shown_as import shown_as
from pipeline.access.views import SessionView
from pipeline.intake.receive import last_hand_in
from pipeline.intake.settings.shown_settings import ShownSettings

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
    # its words are put here, for only a page's own run knows the units and dates of its reader
    sheet = job_sheet(view)
    with st.container(horizontal=True):
        for kind, (words, mime) in _KINDS.items():
            st.download_button(
                f"Job sheet, {words}",
                data=partial(made, kind, shown, view, sheet, shown_as()),
                file_name=f"{stem(view.session['session_id'])}_job_sheet.{kind}",
                mime=mime,
                key=f"job_sheet_{kind}",
                on_click="ignore",
            )


def made(kind: str, shown: Shown, view: SessionView, sheet: Sheet, chosen: ShownSettings) -> bytes:
    """The sheet as a file: ``pdf`` or ``html``."""
    entries = "" if view.in_records else str(last_hand_in(shown.home))
    asked = (shown.asker.scope, view.session["session_id"], entries, repr(chosen))
    of = (str(shown.home.root), shown.version, *asked)
    return _made(kind, of, sheet)


@st.cache_data(max_entries=20, show_spinner=False)
def _made(kind: str, of: tuple, _sheet: Sheet) -> bytes:
    # what draws and prints is loaded only once something is to be printed
    from dashboard.prints.sheet_html import as_html
    from dashboard.prints.sheet_pdf import as_pdf

    return as_pdf(_sheet) if kind == "pdf" else as_html(_sheet).encode()
