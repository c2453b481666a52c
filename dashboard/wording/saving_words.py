"""What the advice is estimated to have saved, in sentences."""

from __future__ import annotations

from dashboard.words import counted, day, in_currency, money, number
from pipeline.access.repairs_view import SavedSoFar


def saved_reading(saved: SavedSoFar, currency: str) -> str:
    """The estimate with its range and the counts that it rests on."""
    if saved.since is None:
        return (
            "Nothing can be told yet: advice is kept from the first build on, and no work that was "
            "advised on an earlier day is on record so far."
        )
    if not (saved.caught or saved.tested or saved.sound):
        return (
            f"Since {day(saved.since)} work has been advised {counted(saved.advised, 'time')}; "
            "none of it has been done so far, or only after something was noticed, so that nothing "
            "was saved or spent."
        )
    verb = "saved" if saved.estimate >= 0 else "cost more than it saved by"
    return (
        f"Since {day(saved.since)} the advice is estimated to have {verb} "
        f"{money(abs(saved.estimate), currency)}: likely {_range(saved, currency)}."
    )


def saved_rests_on(saved: SavedSoFar) -> list[str]:
    """What is counted, what is assumed, and what would make it less."""
    return [
        f"Counted, of {counted(saved.advised, 'time')} that work was advised: "
        f"{counted(saved.caught, 'defect')} found and confirmed before anybody noticed, "
        f"{counted(saved.tested, 'test')}, {counted(saved.sound, 'sensor')} taken off and found "
        f"sound. {counted(saved.noticed, 'time')} a complaint or a road failure came first; those "
        "count neither way.",
        "Assumed: each defect found would have been heard of all the same, as a road failure in "
        "the share seen among those heard of, else as a complaint. The range is that of this share "
        "alone, 90 %. Where a defect would never have been noticed, less was saved.",
        "Costs are those of the page of costs and levels. No injury is counted, and no wear left "
        "in a sensor taken off sound.",
    ]


def _range(saved: SavedSoFar, currency: str) -> str:
    low, high = (_signed(value) for value in (saved.low, saved.high))
    return f"{low} to {in_currency(high, currency)} saved"


def _signed(value: float) -> str:
    return number(value, digits=0)
