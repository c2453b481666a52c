"""Sensors in service with their advice, as one list: the worklist's rows, and a bike's own."""

from __future__ import annotations

import pandas as pd

from dashboard.markup import Html, bullets, facts, fold, joined, tag, to_bike, to_session
from dashboard.wording.answer_words import answer_head, answer_rest, floor_words
from dashboard.words import (
    ACTIONS,
    CONCLUSIONS,
    MOUNTS,
    NOT_KNOWN,
    VERDICTS,
    chance,
    counted,
    day,
    dropouts_near,
    km,
    known,
    lines,
    plain,
)

WAITING_SHOWN = 2


def sensor_list(rows: pd.DataFrame, *, name_bikes: bool = True) -> Html:
    """WORKLIST rows as a list in the order given; ``name_bikes`` False on a bike's own page."""
    items = [_item(row, name_bikes) for row in rows.to_dict("records")]
    return tag("ol", *items, class_="wa-list")


def action_mark(action: str) -> Html:
    """An action as its mark and its word."""
    name = action.replace("_", "-")
    mark = tag("span", class_=f"wa-mark wa-mark-{name}", aria_hidden="true")
    return tag("span", mark, plain(action, ACTIONS), class_=f"wa-action wa-{name}")


def travel_strip(at_pct: object) -> Html:
    """A strip from the closed to the open stop, marked where most drop-outs sit."""
    if not known(at_pct):
        return Html("")
    left = min(max(float(at_pct), 0), 100)
    mark = tag("span", style=f"left:{left:.0f}%")
    return tag("span", mark, class_="wa-travel", aria_hidden="true")


def _item(row: dict, name_bikes: bool) -> Html:
    return tag(
        "li",
        tag("div", action_mark(row["action"]), _which(row, name_bikes)),
        tag("div", *_why(row), _more(row), class_="wa-why"),
        tag("div", facts(_numbers(row)), class_="wa-numbers"),
    )


def _which(row: dict, name_bikes: bool) -> Html:
    """Which sensor on which bike; the mount stands in front on the bike's own page."""
    mount = plain(row["mount"], MOUNTS)
    part = f"{row['part_no']}, sensor {row['sensor_id']}"
    if not name_bikes:
        return tag("div", tag("strong", mount), tag("div", part, class_="wa-quiet wa-which"))
    fleet = f"fleet {row['fleet_id']}" if known(row["fleet_id"]) else "no fleet"
    duty = plain(row["duty"], blank="duty not known")
    about = f"{row['model_code']}, {duty}, {fleet}, {row['shop_name']}"
    return joined(
        [
            tag("div", to_bike(row["unit_id"], row["label"], "wa-bike")),
            tag("div", mount),
            tag("div", about, class_="wa-quiet wa-which"),
        ]
    )


def _why(row: dict) -> list[Html]:
    """The headline, and what must not be overlooked: faults elsewhere, records that wait."""
    elsewhere = lines(row["look_elsewhere"])
    waiting = _waiting(row)
    more = len(waiting) - WAITING_SHOWN
    rest = [f"and {counted(more, 'more record')}, below"] if more > 0 else []
    waits = ["Records that wait to be put right:", bullets([*waiting[:WAITING_SHOWN], *rest])]
    return [
        tag("p", row["headline"], class_="wa-headline"),
        *_answer(row),
        *[tag("p", reason) for reason in lines(row["reasons"])[:1]],
        *(
            [tag("p", "Settle first: ", " ".join(elsewhere), class_="wa-elsewhere")]
            * bool(elsewhere)
        ),
        *([tag("div", *waits, class_="wa-waits")] * bool(waiting)),
    ]


def _answer(row: dict) -> list[Html]:
    """What the shop said to the advice, where that stands; above the floor it says so."""
    if not known(row["answer"]):
        return []
    said = [tag("strong", answer_head(row)), answer_rest(row)]
    floor = floor_words(row)
    if floor:
        said += [" ", tag("strong", floor)]
    return [tag("p", *said, class_="wa-answer")]


def _waiting(row: dict) -> list[str]:
    """What waits, each said once."""
    return list(dict.fromkeys(lines(row["waiting"])))


def _numbers(row: dict) -> list[tuple[str, object]]:
    """The numbers behind the advice. The event meant is always said: a defect."""
    within = [
        chance(row[f"defect_{span}"], row[f"defect_{span}_low"], row[f"defect_{span}_high"])
        for span in ("now", "5000_km")
    ]
    return [
        ("Chance of a defect now", within[0]),
        ("Chance of a defect now or within 5,000 km", within[1]),
        ("Last test", _last_test(row)),
        ("Drop-outs at that test", _dropouts(row)),
    ]


def _last_test(row: dict) -> Html | str:
    if not known(row["last_session_id"]):
        return "none on record"
    verdict = plain(row["last_verdict"], VERDICTS, "no verdict").lower()
    sweep = plain(row["last_conclusion"], CONCLUSIONS, "no sweep").lower()
    run = "distance since not known"
    if known(row["km_since_test"]):
        run = f"{km(row['km_since_test'])} since"
    when = to_session(row["last_session_id"], day(row["last_tested_on"], "open it"))
    return joined([when, f", {run}; verdict: {verdict}; sweep: {sweep}"])


def _dropouts(row: dict) -> Html | str:
    if not known(row["last_dropout_count"]):
        return NOT_KNOWN
    if row["last_conclusion"] == "cannot_tell":  # none seen is no evidence of none
        return "cannot be told from its sweep"
    seen = counted(int(row["last_dropout_count"]), "drop-out")
    if not known(row["last_dropout_travel_pct"]):
        return seen
    return joined(
        [
            f"{seen}{dropouts_near(row['last_dropout_count'], row['last_dropout_travel_pct'])}",
            travel_strip(row["last_dropout_travel_pct"]),
        ]
    )


def _road_ahead(row: dict) -> tuple[str, str]:
    """Chance of being let down within three months, and on what km."""
    said = chance(row["road_90_days"], row["road_90_days_low"], row["road_90_days_high"])
    if known(row["road_90_days"]) and known(row["km_90_days"]):
        said += f", over about {km(round(row['km_90_days'] / 100) * 100)}"
    if known(row["odometer_stale"]) and row["odometer_stale"]:
        said += "; a guess, since the odometer was not read for long"
    return ("Chance of a road failure within 90 days", said)


def _more(row: dict) -> Html:
    """What opens on a press: all reasons, all waiting records, the other distances."""
    ahead = [
        (
            f"Chance of a defect now or within {span} km",
            chance(row[f"defect_{key}"], row[f"defect_{key}_low"], row[f"defect_{key}_high"]),
        )
        for span, key in (("1,000", "1000_km"), ("10,000", "10000_km"))
    ]
    read = day(row["odometer_read_on"], "never")
    odometer = f"{km(row['odometer_now_km'])} by estimate; last read {read}"
    ahead.append(_road_ahead(row))
    ahead += [
        ("Chance of a defect now, if silence told nothing", chance(row["defect_now_if_silent"])),
        ("The same, if heard of up to this day", chance(row["defect_now_if_all_heard"])),
    ]
    waiting = _waiting(row)[WAITING_SHOWN:]
    return fold(
        "Reasons and further numbers",
        bullets(lines(row["reasons"])[1:]),
        tag("p", "Further records that wait:") if waiting else "",
        bullets(waiting),
        facts([*ahead, ("Odometer now", odometer)]),
    )
