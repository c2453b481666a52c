"""The fleet in sentences: chances by bike and week, what is not known of whom, and free windows."""

from __future__ import annotations

import pandas as pd

from dashboard.wording.check_plan_words import PLIGHTS
from dashboard.words import chance, counted, day, in_100, known, number

NOT_IN_PLAN = "not in the plans yet"
#: What a week's figures are, said once above them.
MEANING = (
    "A road failure: a defect of a throttle sensor lets the rider down. Chances are as if nobody "
    "tested or repaired before; a planned check does not lower them until it is done. None of "
    "them says that a bike is safe."
)
WINDOWS_MEAN = (
    "Once a fleet has a window on record for any of its bikes, its bikes without a window ahead "
    "are not called in at all. A private bike without windows comes on any working day."
)
OUT_MEANS = (
    "From that day on the bike is neither scored nor called in, and the lives of its sensors end. "
    "All that is on record of it stays. The records have no place for a reason."
)


def in_1000(value: object) -> str:
    """A chance as a whole number out of 1,000, never rounded to none or to all."""
    if not known(value):
        return "?"
    if value < 0.0005:
        return "<1"
    return ">999" if value >= 0.9995 else f"{1000 * value:.0f}"


def within_90(row: dict) -> str:
    """The chance within 90 days with its range."""
    return chance(row["road"], row["road_low"], row["road_high"])


def rests_on(row: dict) -> str:
    """How many of the bike's sensors its chance rests on."""
    count, of = int(row["chance_count"]), int(row["sensor_count"])
    if not of:
        return "no sensor on record"
    return f"{counted(of, 'sensor')}" if count == of else f"{count} of {counted(of, 'sensor')}"


def check_words(row: dict) -> str:
    """The day planned for a check, or why there is none."""
    if known(row["visit_on"]):
        return day(row["visit_on"])
    return PLIGHTS.get(row["plight"], "none") if known(row["plight"]) else "none"


def unknown_reasons(row: dict) -> list[str]:
    """Why too little is known of a bike, and what would tell; nothing where enough is."""
    if not row["sensor_count"]:
        return ["No throttle sensor on record: enter it."]
    said = []
    if not known(row["odometer_read_on"]):
        said.append("Odometer never read: read it.")
    elif known(row["odometer_stale"]) and row["odometer_stale"]:
        days = counted(int(row["days_since_reading"]), "day")
        said.append(
            f"Odometer last read on {day(row['odometer_read_on'])}, {days} ago, so that its km and "
            "all dates are a guess: read it."
        )
    if row["untested_count"]:
        since = "not tested since fitted or repaired: test on the bench"
        said.append(f"{_of_sensors(row, 'untested_count')} {since}.")
    if row["kindless_count"]:
        kind = "of a part whose kind is not on record: look it up"
        said.append(f"{_of_sensors(row, 'kindless_count')} {kind}.")
    if row["waiting_count"]:
        said.append("Records of it are set aside: mend them.")
    blank = row["chance_count"] < row["sensor_count"]
    if not said and (blank or row["not_known_count"]):
        said.append("Too little on record for a chance or an advice: test on the bench.")
    return said


def _of_sensors(row: dict, name: str) -> str:
    count, of = int(row[name]), int(row["sensor_count"])
    if of == 1:
        return "Its sensor"
    return f"{count} of its {of} sensors" if count < of else f"All {of} sensors"


def fleet_reading(bikes: pd.DataFrame, weeks: pd.DataFrame) -> str:
    """Who is likeliest to be let down in these weeks, and how many failures are expected in all.

    Parameters
    ----------
    bikes : DataFrame
        FLEET_BIKES in service.
    weeks : DataFrame
        BIKE_WEEKS of the same.
    """
    by_then = weeks.groupby("unit_id")["road_by_then"].last().dropna()
    blank = len(bikes) - len(by_then)
    unknown = f" Of {counted(blank, 'bike')} no chance is known." if blank else ""
    if by_then.empty:
        return f"No chance is known of any of {counted(len(bikes), 'bike')}."
    worst = bikes[bikes["unit_id"].eq(by_then.idxmax())].to_dict("records")[0]
    count, most = int(weeks["week"].max()), in_1000(by_then.max())
    return (
        f"Of {counted(len(by_then), 'bike')} with a known chance, {worst['label']} is the "
        f"likeliest to be let down on the road within {counted(count, 'week')}: {most} in 1,000. "
        f"{_expected(by_then.sum())} expected in all, if nobody tests or repairs.{unknown}"
    )


def _expected(total: float) -> str:
    if total < 0.05:
        return "Fewer than 0.1 road failures are"
    shown = number(total, digits=1)
    return f"About {shown} road {'failure is' if shown == '1' else 'failures are'}"


def share_words(road_share: float) -> str:
    """How road failures follow from defects."""
    return f"Of 100 defects heard of, {in_100(road_share)} are taken to let the rider down."


def glance(bikes: pd.DataFrame, unknown: int) -> str:
    """How many bikes there are, how many are to come in, and of how many too little is known."""
    visits = int(bikes["visit_on"].notna().sum())
    return f"{counted(len(bikes), 'bike')} in service. {counted(visits, 'check')} planned. " + (
        f"Of {counted(unknown, 'bike')} too little is known." if unknown else ""
    )


def window_state(row: dict) -> str:
    """Whether the plan holds a window."""
    return {
        "planned": "in the plan",
        "typed": f"typed, {NOT_IN_PLAN}",
        "taken_back": "taken back, still in the plan until the next build",
    }[row["state"]]


def window_words(row: dict) -> str:
    """A window as it is offered in the form."""
    return f"{row['label']}, {day(row['free_from'])} to {day(row['free_to'])}"


def bike_words(row: dict) -> str:
    """A bike as it is offered in the forms."""
    fleet = f", {row['fleet_id']}" if known(row["fleet_id"]) else ""
    name = row["label"] if row["label"] == row["unit_id"] else f"{row['label']} ({row['unit_id']})"
    return f"{name}{fleet}"


def typed_words(row: dict) -> str:
    """A bike taken out of service, or back, since the build."""
    if known(row["typed_out_on"]):
        return f"{row['label']}: out of service since {day(row['typed_out_on'])}, {NOT_IN_PLAN}."
    return f"{row['label']}: back in service, {NOT_IN_PLAN}."
