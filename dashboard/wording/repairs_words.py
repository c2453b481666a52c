"""What repairs came to, in sentences."""

from __future__ import annotations

import pandas as pd

from dashboard.words import counted, in_100, known

#: Below this many jobs a rate is not said to be high or low; assumed.
FEW = 10
GROUPS = {"Part": "part", "Model": "model", "Shop": "shop"}
RATES = {"no_fault_found": "No fault found", "comeback": "Came back"}


def rate_words(row: dict) -> str:
    """``15 in 100, likely 11 to 19``; what is not known, or hardly, is said."""
    if not known(row["share"]):
        return "not known: no job counted"
    ends = f"likely {_exact(row['low'])} to {_exact(row['high'])}"
    if row["n"] < FEW:
        return f"too few jobs to say: {ends} in 100"
    return f"{_exact(row['share'])} in 100, {ends}"


def counted_words(row: dict) -> str:
    """``3 of 20 jobs``."""
    return f"{row['hits']:,} of {counted(int(row['n']), 'job')}"


def rate_reading(rates: pd.DataFrame, rate: str, by: str) -> str:
    """The rate over all, and which groups lie apart from it."""
    own = rates[rates["rate"].eq(rate)]
    whole = own[own["by"].eq("all")].to_dict("records")[0]
    if not whole["n"]:
        return "No job has been counted yet."
    head = f"{RATES[rate]}: {counted_words(whole)}, {rate_words(whole)}."
    return f"{head} {_apart(own[own['by'].eq(by)], by, whole['share'])}"


def _apart(every: pd.DataFrame, by: str, whole: float) -> str:
    """Which groups lie apart from the whole; those of few jobs are counted and not judged."""
    groups = every[every["n"] >= FEW]
    few = len(every) - len(groups)
    left = f" {counted(few, by)} with fewer than {FEW} jobs: too few to say." if few else ""
    if groups.empty:
        return left.strip()
    above = groups.loc[groups["low"] > whole, "group_name"].tolist()
    below = groups.loc[groups["high"] < whole, "group_name"].tolist()
    if not above and not below and len(groups) == 1:
        apart = f"The one {by} with enough jobs does not lie apart from it."
    elif not above and not below:
        apart = f"None of {counted(len(groups), by)} lies apart from it beyond what chance does."
    else:
        said = [
            f"{word} it: {', '.join(names)}"
            for word, names in (("above", above), ("below", below))
            if names
        ]
        apart = f"By {by}, apart from it with the whole range: {'; '.join(said)}."
        if len(groups) >= 5:
            apart += " About one range in ten lies apart by chance alone."
    return apart + left


def what_counts(linked: int, days: int) -> list[str]:
    """What the two rates count, and what they cannot say."""
    return [
        "No fault found: closed jobs whose action says so. The fault may still be there.",
        f"Came back: jobs closed at least {days} days ago that a later job, closed within "
        f"{days} days of it, names as the one it comes back from. "
        f"{counted(linked, 'job')} on record {'is' if linked == 1 else 'are'} named so, whenever "
        "that was. One that nobody linked is not counted.",
        "Likely: the range in which the rate lies with 90 % probability (Jeffreys interval). Of "
        f"fewer than {FEW} jobs nothing is said but that range.",
        "Shops, models and parts differ in what comes to them: a rate says where to look, not who "
        "is to blame. Nothing is counted by person.",
    ]


def _exact(share: float) -> str:
    """An end of 0 or 1 is meant so here: none, or all, were seen."""
    return {0.0: "0", 1.0: "100"}.get(share, in_100(share))
