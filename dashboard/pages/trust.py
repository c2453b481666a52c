"""How far to trust the chances: held against the past, and what they rest on."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.charts.calibration import calibration_chart
from dashboard.charts.survival import survival_chart
from dashboard.markup import bullets, joined, link, table, tag
from dashboard.parts.save_csv import save_csv
from dashboard.parts.show_chart import show_chart
from dashboard.wording import empty_words
from dashboard.wording.answer_words import waiting_answers
from dashboard.wording.trust_words import (
    ANSWERED,
    GROUPINGS,
    QUANTITIES,
    SILENCE,
    WAYS,
    advice_reading,
    advice_table,
    answered_reading,
    calibration_reading,
    curve_reading,
    expected_range,
    fit_in_words,
    followed_reading,
    group_names,
    life_in_words,
    looked_back,
    quantity_range,
    silence_reading,
    skill_in_words,
)
from dashboard.words import ACTIONS, in_100, km, known, number, plain
from pipeline.access.answers import pending_answer_count
from pipeline.access.views import TrustView

TITLE = "How far to trust these chances"
_ALL = "All sensors"


def show(shown: records.Shown) -> None:
    """Draw the page."""
    view = records.trust(shown)
    surround.top_line(surround.worklist_link(), "How far to trust it")
    surround.which_records(view.edition)
    as_of = surround.records_as_of(view.edition)
    more = link("Records by month and by hand-in", "hand_in", "wa-pressed")
    st.html(joined([tag("h1", TITLE), tag("p", as_of, " ", more, class_="wa-quiet")]))
    surround.show_cautions(whole=False)
    _past(view)
    _curve(view)
    _lives(view.quantiles)
    _learned(view.learned)
    _silence(view.silence)
    _sensitivity(view.over_sensitivity)
    _followed(view.followed, view.answered, pending_answer_count(shown.home, shown.asker))


def _past(view: TrustView) -> None:
    surround.heading("Held against these shops' own past")
    st.html(joined([tag("p", sentence) for sentence in looked_back(view.about, view.skill)]))
    if view.skill.empty:
        return
    st.html(bullets(skill_in_words(view.skill)))
    columns = {
        "Way": lambda r: plain(r["name"], WAYS),
        "In the first tenth, of 100 that came to light": lambda r: _of_100(r["top_tenth_share"]),
        "Found for 100 expected": lambda r: _of_100(r["found_over_expected"]),
        "Log-loss": lambda r: number(r["log_loss"], digits=3, blank="states no chance"),
        "Brier score": lambda r: number(r["brier"], digits=4, blank="states no chance"),
        "Calibration slope": lambda r: number(r["slope"], blank="states no chance"),
    }
    caption = "Best: 100 found for 100 expected, a slope of 1, log-loss and Brier score small."
    _table_and_csv(view.skill, columns, caption, "looked_back")
    _calibration(view.calibration)


def _of_100(share: object) -> str:
    return number(100 * share, digits=0) if known(share) else "states no chance"  # type: ignore[operator]


def _calibration(calibration: pd.DataFrame) -> None:
    chosen = st.selectbox("Expected and found by", list(GROUPINGS), key="grouping")
    rows = calibration[calibration["by"].eq(GROUPINGS[chosen])].reset_index(drop=True)
    named = rows.assign(name=group_names(rows))
    columns = {
        "Chance stated" if GROUPINGS[chosen] == "tenth" else chosen: "name",
        "Looks at a sensor": "n",
        "Expected": lambda r: number(r["expected"], digits=1),
        "Range that would hold 9 in 10": _range_words,
        "Found": lambda r: number(r["found"], digits=0),
    }
    reading = calibration_reading(rows)
    show_chart(partial(calibration_chart, rows), reading, named, columns, name="calibration")


def _range_words(row: dict) -> str:
    low, high = expected_range(row)
    return f"{number(low, digits=1)} to {number(high, digits=1)}"


def _curve(view: TrustView) -> None:
    surround.heading("Age and defects in this fleet")
    if view.curve.empty:
        surround.nothing("No sensor has been watched for any distance yet, so there is no curve.")
        return
    st.html(tag("p", fit_in_words(view.fit)))
    parts = {_ALL if p == "all" else f"Part {p}": p for p in view.curve["part_no"].unique()}
    chosen = st.selectbox("Sensors", list(parts), key="curve_of")
    rows = view.curve[view.curve["part_no"].eq(parts[chosen])].reset_index(drop=True)
    columns = {
        "Run": lambda r: km(r["age_km"]),
        "Without a defect, in 100": lambda r: in_100(r["survival"]) if r["survival"] < 1 else "100",
        "Likely": lambda r: (
            f"{number(100 * r['survival_low'], digits=0)} to "
            f"{number(100 * r['survival_high'], digits=0)}"
        ),
        "Sensors watched at this age": "sensor_count",
    }
    reading = curve_reading(rows, view.quantiles)
    show_chart(partial(survival_chart, rows), reading, rows, columns, name="fleet_curve")


def _lives(quantiles: pd.DataFrame) -> None:
    if quantiles.empty:
        return
    columns = {
        "Sensors": _group_words,
        "B10: 10 in 100 have the defect by": lambda r: r["b10"],
        "B50: half have it by": lambda r: r["b50"],
        "Lives on record": "sensor_count",
        "Defects": "defect_count",
    }
    wide = _by_group(quantiles)
    caption = (
        "Ages at which so many have a defect, if nothing is done. Few defects leave a wide range."
    )
    _table_and_csv(wide, columns, caption, "b10_b50", of=quantiles)


def _by_group(quantiles: pd.DataFrame) -> pd.DataFrame:
    """One row a group, with B10 and B50 in words."""
    keys = ["grouped_by", "group_name", "sensor_count", "defect_count"]
    rows = []
    for values, group in quantiles.groupby(keys, sort=False):
        by_share = {round(r["share_with_defect"], 3): r for r in group.to_dict("records")}
        words = {f"b{share * 100:.0f}": life_in_words(row) for share, row in by_share.items()}
        rows.append(dict(zip(keys, values, strict=True)) | words)
    return pd.DataFrame(rows)


def _group_words(row: dict) -> str:
    name = row["group_name"]
    return {"all": _ALL, "part_no": f"part {name}", "duty": f"duty {name}"}[row["grouped_by"]]


def _learned(learned: pd.DataFrame) -> None:
    surround.heading("What is assumed, and what these records made of it")
    columns = {
        "What": lambda r: plain(r["quantity"], QUANTITIES),
        "Assumed before any record": lambda r: quantity_range(r, "assumed"),
        "Taken now": lambda r: quantity_range(r, "learned"),
        "Moved by": "rests_on",
    }
    caption = "None of the assumed values has a published source; they are set wide on purpose."
    _table_and_csv(learned, columns, caption, "assumed_and_learned")


def _silence(silence: pd.DataFrame) -> None:
    surround.heading("How much rests on nothing having been heard")
    st.html(tag("p", silence_reading(silence)))
    if silence.empty:
        return
    columns = {
        "Way of taking it": lambda r: plain(r["way"], SILENCE),
        "Defects expected now": lambda r: number(r["expected_defects"], digits=1),
        "Sensors": "sensor_count",
        "Differing by over 5 in 100": "differing_count",
    }
    caption = "A bike that does not complain may be sound, or may have gone to another shop."
    _table_and_csv(silence, columns, caption, "silence")


def _sensitivity(over: pd.DataFrame) -> None:
    surround.heading("If a bench test finds fewer defects, or more, than taken")
    st.html(tag("p", advice_reading(over)))
    rows = advice_table(over)
    if rows.empty:
        return
    columns: dict[str, str | Callable[[dict], object]] = {
        "Of 100 defects a test finds": lambda r: in_100(r["sensitivity"]),
        **{word: action for action, word in ACTIONS.items()},
        "Other advice than now": "changed",
    }
    caption = "Sensors in service by what would be advised."
    _table_and_csv(rows, columns, caption, "advice_by_sensitivity", of=over)


def _followed(followed: pd.DataFrame, answered: pd.DataFrame, waiting: int) -> None:
    """``waiting`` answers were given since the build."""
    surround.heading("What was advised, and what came of it")
    if waiting:
        st.html(tag("p", waiting_answers(waiting), class_="wa-said"))
    st.html(tag("p", followed_reading(followed)))
    if followed.empty:
        return
    columns = {
        "Advised": lambda r: plain(r["action"], ACTIONS),
        "Times": "spell_count",
        "Of these by lot": "by_lot_count",
        "Tested within 180 days": "tested_count",
        "Taken off within 180 days": "taken_off_count",
        "Defect confirmed": "confirmed_count",
        "Found sound": "sound_count",
        "Road failures before other advice": "road_failure_count",
    }
    caption = "One count for each run of days over which the same was advised for a sensor."
    _table_and_csv(followed, columns, caption, "advice_followed")
    if answered["answer"].eq("none").all():
        surround.nothing("No advice has been answered on the worklist so far.")
        return
    st.html(tag("p", answered_reading(answered)))
    given = {"Advised": columns["Advised"], "Answer": lambda r: plain(r["answer"], ANSWERED)}
    counts = ("Times", *list(columns)[3:])
    caption = "The same by what the shop last answered while it was the advice."
    shown = given | {name: columns[name] for name in counts}
    _table_and_csv(answered, shown, caption, "answers_followed")


def _table_and_csv(
    rows: pd.DataFrame,
    columns: dict,
    caption: str,
    name: str,
    *,
    of: pd.DataFrame | None = None,
) -> None:
    """A table, and its rows (or those behind it) as a CSV file."""
    st.html(table(rows, columns, caption))
    save_csv(rows if of is None else of, name)


if __name__ == "__main__":
    surround.page(show, empty=empty_words.TRUST)
