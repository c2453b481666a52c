"""How far to trust the chances, in sentences."""

from __future__ import annotations

import pandas as pd

from dashboard.words import (
    ACTIONS,
    about_in_100,
    counted,
    day,
    in_100,
    km,
    km_span,
    known,
    lines,
    number,
)

WAYS = {
    "ours": "These chances",
    "mileage only": "By km run alone, no other record used",
    "oldest first": "Oldest sensor first, no chance stated",
}
QUANTITIES = {
    "sensitivity": "Share of defects that a bench test finds",
    "worn_band": "Share of tests with any sign and a worn band that prove to be a defect",
    "fail": "Share of other failed tests that prove to be a defect",
    "suspect": "Share of other suspect tests that prove to be a defect",
    "dropouts_seen": "Share of other sweeps with drop-outs that prove to be a defect",
    "delay": "Distance from a defect until it is heard of",
    "season": "Defects a km in mid January, as a multiple of those in mid July",
}
SILENCE = {
    "as_taken": "As taken: each bike may still be in view, or not",
    "silence_tells_nothing": "Silence tells nothing: only a test can find a defect",
    "all_in_view_to_this_day": "Every bike is in view: a defect would have been heard of by now",
}
GROUPINGS = {
    "Tenths of the list": "tenth",
    "Part": "part",
    "Duty": "duty",
    "Date looked on from": "date",
}
_SHARES = {0.1: "10 in 100", 0.5: "Half"}
#: Standard normal: a range that holds 90 in 100 numbers found, were the chances right.
_NORMAL_95 = 1.645


ANSWERED = {
    "accept": "Accepted",
    "put_off": "Put off",
    "overrule": "Overruled",
    "none": "No answer",
}


def fit_in_words(fit: dict) -> str:
    """On which records the curve was fitted, and why not anew since."""
    rests_on = (
        f"The curve was fitted to the records as of {day(fit['fitted_as_of'])}: "
        f"{counted(int(fit['n_lives']), 'sensor life', 'sensor lives')}, "
        f"{counted(int(fit['n_defects']), 'defect')} among them."
    )
    since, km_since = int(fit["defects_since"]), float(fit["km_since"])
    if known(fit["why_fitted"]) or not (since or km_since):
        return rests_on
    return (
        f"{rests_on} Since then {counted(since, 'defect is', 'defects are')} new, changed or taken "
        f"back, and {km(km_since)} of running: too little to move the curve by a quarter of "
        "its own uncertainty, so it stands; every sensor is held against it anew with today's "
        "records."
    )


def looked_back(about: dict, skill: pd.DataFrame) -> list[str]:
    """What was done, and why anything was left out."""
    reasons = lines(about["reason"])
    if not about["dates"] or skill.empty:
        return reasons or ["Nothing could be looked back on yet."]
    first = skill.iloc[0]
    dates = counted(int(about["dates"]), "date")
    span = f"between {day(about['first_on'])} and {day(about['last_on'])}"
    if about["dates"] == 1:
        span = f"({day(about['first_on'])})"
    said = [
        f"From {dates} {span} the records were taken as they then stood and the chances worked out "
        f"anew, then held against what came to light up to the next date, {about['every_days']} "
        "days on. Rows dated after a date were hidden from it; corrections made later, and what is "
        "noted of bikes now, were not. How often a test finds a defect was taken as assumed.",
        f"Over all dates that makes {counted(int(first['n_scored']), 'look')} at a sensor; after "
        f"{first['n_found']:,} of them a defect came to light and was confirmed.",
    ]
    if first["too_few"]:
        said.append("That is too few to prove anything: take what follows as a first hint.")
    return [*said, *reasons]


def skill_in_words(skill: pd.DataFrame) -> list[str]:
    """Ours against the two plain ways, one sentence a question."""
    rows = skill.set_index("name")
    if not {"ours", "mileage only", "oldest first"} <= set(rows.index):
        return []
    ours, mileage, oldest = (rows.loc[name] for name in ("ours", "mileage only", "oldest first"))
    if not known(ours["top_tenth_share"]):
        return ["No defect came to light after any date, so nothing can be compared."]
    said = [
        "Of the defects that came to light, the first tenth of the list held "
        f"{in_100(ours['top_tenth_share'])} in 100; ordered by km run alone it would have held "
        f"{in_100(mileage['top_tenth_share'])}, the oldest sensors first "
        f"{in_100(oldest['top_tenth_share'])}, and in no order at all 10."
    ]
    if known(ours["found_over_expected"]):
        found = 100 * ours["found_over_expected"]
        said.append(
            f"For each 100 defects that the chances led one to expect, {found:.0f} came to light."
        )
    if known(ours["log_loss"]) and known(mileage["log_loss"]):
        better = ours["log_loss"] < mileage["log_loss"]
        said.append(
            f"The error of the chances (log-loss) was {number(ours['log_loss'], digits=3)}, "
            f"against {number(mileage['log_loss'], digits=3)} by km alone: smaller is better, so "
            f"{'they were the better ones' if better else 'km alone did as well or better'}."
        )
    return said


def group_names(rows: pd.DataFrame) -> pd.Series:
    """BACKTEST_CALIBRATION groups as people read them; a tenth by the chances in it."""
    tenth = rows["by"].eq("tenth")
    chances = [
        _chances_between(low, high)
        for low, high in zip(rows["chance_from"], rows["chance_to"], strict=True)
    ]
    names = rows["group"].where(~tenth, pd.Series(chances, index=rows.index))
    return names.astype("str")


def _chances_between(low: float, high: float) -> str:
    return f"{number(100 * low, digits=1)} to {number(100 * high, digits=1)} in 100"


def expected_range(row: dict) -> tuple[float, float]:
    """Numbers that 90 in 100 would lie between, were the chances right."""
    spread = _NORMAL_95 * row["sd"]
    return max(row["expected"] - spread, 0.0), min(row["expected"] + spread, float(row["n"]))


def calibration_reading(rows: pd.DataFrame) -> str:
    """How many groups lie within the range expected, and which does not, in a sentence."""
    if rows.empty:
        return "Nothing has been looked back on yet."
    outside = []
    for row, name in zip(rows.to_dict("records"), group_names(rows), strict=True):
        low, high = expected_range(row)
        if not low - 0.5 <= row["found"] <= high + 0.5:
            way = "more" if row["found"] > row["expected"] else "fewer"
            outside.append(f"{name} ({way} than expected)")
    within = len(rows) - len(outside)
    said = f"In {within} of {counted(len(rows), 'group')} the number found is within the range"
    tail = f"; outside it: {', '.join(outside)}" if outside else ""
    return f"{said} that would hold 9 in 10, were the chances right{tail}."


def curve_reading(curve: pd.DataFrame, quantiles: pd.DataFrame) -> str:
    """One part's curve in a sentence."""
    if curve.empty:
        return "No sensor has been watched yet, so there is no curve."
    part = curve["part_no"].iloc[0]
    own = quantiles[
        quantiles["group_name"].eq(part) & quantiles["grouped_by"].isin(["all", "part_no"])
    ]
    defects = counted(int(curve["defect_count"].iloc[0]), "defect")
    said = [
        f"{_SHARES.get(round(row['share_with_defect'], 3), 'So many')} have a defect by "
        f"{life_in_words(row)}."
        for row in own.to_dict("records")
    ]
    return " ".join([*said, f"Learned from {defects}."])


def life_in_words(row: dict) -> str:
    """``about 15,000 km, likely 9,600 to 19,100 km`` to three figures, or that it lies beyond."""
    if row["beyond"]:
        return f"beyond {km(_three(row['oldest_km']))}, the oldest sensor watched"
    low, high = _three(row["life_low_km"]), row["life_high_km"]
    likely = (
        km_span(low, _three(high)) if known(high) else f"{km(low)} to beyond the oldest watched"
    )
    return f"about {km(_three(row['life_km']))}, likely {likely}"


def _three(value: float) -> float:
    """To three figures: more would feign knowledge."""
    return float(f"{value:.3g}")


def quantity_range(row: dict, which: str) -> str:
    """``about 90 in 100, likely 77 to 98``, or the same in km or as a multiple."""
    middle, low, high = (row[f"{which}{end}"] for end in ("", "_low", "_high"))
    if row["unit"] == "km":
        ends = f"{_three(low):,.0f} to {km(_three(high))}"
        return f"about {km(_three(middle))}, likely {ends}"
    if row["unit"] == "times":
        return f"about {middle:.2g} times, likely {low:.2g} to {high:.2g}"
    return f"{about_in_100(middle)} in 100, likely {in_100(low)} to {in_100(high)}"


def advice_table(over: pd.DataFrame) -> pd.DataFrame:
    """One row a sensitivity, one column an action, and how many sensors change."""
    if over.empty:
        return pd.DataFrame()
    counts = over.pivot_table(
        index="sensitivity", columns="action", values="sensor_count", aggfunc="sum", fill_value=0
    )
    counts = counts.reindex(columns=list(ACTIONS), fill_value=0).astype(int)
    changed = over.groupby("sensitivity")["changed_count"].sum().astype(int)
    return counts.assign(changed=changed).reset_index()


def advice_reading(over: pd.DataFrame) -> str:
    """Whether the advice hangs on what is taken of a test's sensitivity."""
    table = advice_table(over)
    if table.empty:
        return "No sensor has a chance yet, so no advice hangs on it."
    low, high = in_100(table["sensitivity"].min()), in_100(table["sensitivity"].max())
    most = int(table["changed"].max())
    sensors = counted(int(table[list(ACTIONS)].iloc[0].sum()), "sensor")
    between = f"Whether a test finds {low} or {high} in 100 defects"
    if not most:
        return f"{between}, the advice stays the same for all {sensors}."
    return f"{between}, the advice changes for at most {most:,} of {sensors}."


def silence_reading(silence: pd.DataFrame) -> str:
    """How far the chances rest on nothing having been heard, in a sentence."""
    if silence.empty or not silence["sensor_count"].any():
        return "No sensor has a chance yet, so nothing rests on silence."
    rows = silence.set_index("way")
    taken, told = rows.loc["as_taken"], rows.loc["silence_tells_nothing"]
    return (
        f"Among {counted(int(taken['sensor_count']), 'sensor')} in service the chances lead one to "
        f"expect {number(taken['expected_defects'], digits=1)} with a defect now; if silence told "
        f"nothing, {number(told['expected_defects'], digits=1)}, and the chance of "
        f"{int(told['differing_count']):,} would differ by more than 5 in 100."
    )


def followed_reading(followed: pd.DataFrame) -> str:
    """Since when advice is kept, and the two counts that speak against it."""
    if followed.empty:
        return (
            "Advice is kept from this build on. Once the shop has acted on it, this says how many "
            "sensors taken off were found sound, and how many failed on the road after being left."
        )
    by = followed.set_index("action")
    sound = int(by["sound_count"].get("replace", 0))
    off = int(by["taken_off_count"].get("replace", 0))
    left = int(by["spell_count"].get("leave", 0))
    failed = int(by["road_failure_count"].get("leave", 0))
    return (
        f"Advice is kept since {day(followed['first_on'].min())}. Of {counted(off, 'sensor')} "
        f"taken off as advised {sound:,} proved sound; of {left:,} times that leaving was advised "
        f"{failed:,} ended in a road failure. Where a removed sensor is not tested again on the "
        "bench, nobody knows: bench-test what is taken off and hand the result in."
    )


def answered_reading(answered: pd.DataFrame) -> str:
    """What became of the advice that the shop overruled or put off."""
    against = answered[answered["answer"].isin(("overrule", "put_off"))]
    whole = int(answered["spell_count"].sum())
    told = int(answered.loc[answered["answer"].ne("none"), "spell_count"].sum())
    failed = int(against["road_failure_count"].sum())
    confirmed = int(against["confirmed_count"].sum())
    return (
        f"{told:,} of {whole:,} times the shop answered. Of {int(against['spell_count'].sum()):,} "
        f"times that it put the advice off or overruled it, {failed:,} ended in a road failure and "
        f"{confirmed:,} in a confirmed defect."
    )
