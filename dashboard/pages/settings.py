"""Settings: costs, levels and limits, and how values are shown."""

from __future__ import annotations

from itertools import groupby

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.forms.entry_troubles import not_saved, say_once
from dashboard.forms.setting_fields import SETTINGS, label_of, setting_field
from dashboard.markup import bullets, joined, link, tag
from dashboard.parts.deeds_part import deeds_part
from dashboard.wording.date_words import day_with_month
from dashboard.wording.what_if_words import SECTION_NAMES
from dashboard.words import counted
from pipeline.access.settings_view import SettingsView, settings_view
from pipeline.home import HomeError
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.settings.shown_settings import BY_DAY, BY_YEAR, SECTION
from pipeline.jobs.take_up import take_up

TITLE = "Settings"
_SAID = "settings_said"
_WIDTH = 340
_EXAMPLE = pd.Timestamp("2026-03-14")
_STAYS = (
    "Distances are typed in the unit that is shown. Records, files and the reasons written down "
    "with the advice stay in km and year-month-day, whatever is shown; so do set spans such as "
    "“within 5,000 km”, rates for 1,000 km, and the settings below.",
    "Fields to type a date in, axes of charts and CSV files keep year-month-day too.",
)
_RANGES = (
    "Good ranges of readings are no setting: they are learned from your own good sensors. A "
    "maker's published limits stand above them and are handed in with the part "
    "(maker_closed_v_low and the like)."
)


def show(shown: records.Shown) -> None:
    """Draw the page."""
    view = settings_view(shown.home, shown.asker)
    surround.top_line(surround.worklist_link(), TITLE)
    surround.which_records(view.edition, first_to_do=False)
    kept = tag("code", shown.home.settings)
    intro = tag(
        "p", "Kept in ", kept, ", which can be edited as well: your comments there stay.",
        class_="wa-quiet",
    )  # fmt: skip
    st.html(joined([tag("h1", TITLE), intro]))
    say_once(_SAID)
    _problems(view.problems)
    _not_built(shown, view.not_built)
    _how_shown(shown, view)
    _costs(shown, view)
    surround.heading("Good ranges")
    more = link("Names of columns in your files", "hand_in", "wa-pressed")
    st.html(joined([tag("p", _RANGES), tag("p", more)]))
    deeds_part(shown)


def _problems(problems: tuple[str, ...]) -> None:
    if problems:
        head = tag("p", tag("strong", "What cannot stand in the file:"))
        st.html(tag("div", head, bullets(problems), class_="wa-said wa-care", role="alert"))


def _not_built(shown: records.Shown, names: tuple[str, ...]) -> None:
    """What the plans do not hold yet, and the press that works them out."""
    if not names:
        return
    listed = bullets(label_of(name) for name in names)
    head = f"{counted(len(names), 'setting')} not in the advice and plans yet:"
    st.html(tag("div", tag("p", head), listed, class_="wa-said"))
    if st.button("Work the plans out with these settings", key="settings_build"):
        take_up(shown.home)
        st.session_state[_SAID] = (
            "The plans are being worked out. Pages go on meanwhile and say when newer ones are "
            "there."
        )
        st.rerun()


def _how_shown(shown: records.Shown, view: SettingsView) -> None:
    surround.heading("How values are shown")
    with st.form("shown_form", border=False):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            values = {
                "distances": _choice("distances", view, {"km": "Kilometres", "miles": "Miles"}),
                "dates": _choice("dates", view, _DATE_FORMS),
                "language_of_dates": _choice("language_of_dates", view, _languages()),
                "time_zone": _text("time_zone", view, "Time zone of clock times"),
                "base_address": _text("base_address", view, "Address for the tags of bikes"),
            }
        st.html(bullets([*_STAYS, *_meanings("time_zone", "base_address")], "wa-quiet"))
        if st.form_submit_button("Keep how values are shown", key="keep_shown"):
            _keep(shown, values)


_DATE_FORMS = {BY_YEAR: "2026-03-14", BY_DAY: "14 March 2026, month by its name"}
_CHOICES = {
    "distances": "Distances",
    "dates": "Dates",
    "language_of_dates": "Language of months, where they are named",
}


def _languages() -> dict[str, str]:
    names = SETTINGS["language_of_dates"][0].words
    return {name: f"{name}: {day_with_month(_EXAMPLE, name)}" for name in names}


def _choice(name: str, view: SettingsView, words: dict[str, str]) -> str:
    return st.selectbox(
        _CHOICES[name],
        list(words),
        list(words).index(str(view.values[name])),
        format_func=words.__getitem__,
        key=f"shown_{name}",
        width=_WIDTH,
    )


def _text(name: str, view: SettingsView, label: str) -> str:
    now = str(view.values[name])
    return st.text_input(label, now, max_chars=120, key=f"shown_{name}", width=_WIDTH)


def _meanings(*names: str) -> list[str]:
    return [f"{label_of(name)}." for name in names]


def _costs(shown: records.Shown, view: SettingsView) -> None:
    surround.heading("Costs, levels and limits")
    try_out = link("Costs", "costs", "wa-pressed")
    st.html(
        tag("p", "Every default is assumed. What others would change is tried out under ", try_out,
            " without keeping anything.")
    )  # fmt: skip
    for section, listed in groupby(SETTINGS, key=lambda name: SETTINGS[name][0].section):
        if section != SECTION:
            _section(shown, view, section, list(listed))


def _section(shown: records.Shown, view: SettingsView, section: str, names: list[str]) -> None:
    fold = st.expander(SECTION_NAMES[section], key=f"fold_{section}", on_change="rerun")
    if not fold.open:
        return
    with fold, st.form(f"form_{section}", border=False):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            values = {
                name: setting_field(name, view.values[name], key=f"keep_{name}") for name in names
            }
        if st.form_submit_button("Keep these", key=f"keep_section_{section}"):
            _keep(shown, values)


def _keep(shown: records.Shown, values: dict[str, object]) -> None:
    """Keep settings; what cannot stand is named by its field, and then none of them is kept."""
    try:
        faults = keep_settings(shown.home, values, asker=shown.asker)
    except (OSError, HomeError) as error:
        not_saved([str(error)])
        return
    if faults:
        not_saved([f"{label_of(name)}: {fault}." for name, fault in faults.items()])
        return
    st.session_state[_SAID] = f"Kept in {shown.home.settings.name}."
    st.rerun()


if __name__ == "__main__":
    surround.page(show)
