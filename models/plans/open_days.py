"""Days on which a shop works, as an owner writes them: days of the week, and dates it is closed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, datetime

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
WEEKDAYS_EXPECTED = "days of the week parted by commas, such as Monday, Tuesday"
DATES_EXPECTED = "dates as 2026-12-25 parted by commas, or none"
#: Letters from which a day of the week is known.
_LEAST_LETTERS = 2


def weekdays(value: object) -> tuple[int, ...]:
    """Days of the week, Monday being 0, in order and each once.

    Parameters
    ----------
    value : str or list of str
        Names, whole or from their first two letters on.

    Raises
    ------
    ValueError
        A word is no day of the week, or none is named.
    """
    found = {_weekday(word) for word in _words(value)}
    if not found:
        raise ValueError(WEEKDAYS_EXPECTED)
    return tuple(sorted(found))


def dates(value: object) -> tuple[date, ...]:
    """Dates, in order and each once; ``value`` a text or a list of texts or dates.

    Raises
    ------
    ValueError
        Something is no date.
    """
    return tuple(sorted({_date(word) for word in _words(value)}))


def weekdays_text(value: object) -> str:
    """Days of the week as they are kept: ``Monday, Tuesday``."""
    return ", ".join(WEEKDAYS[day] for day in weekdays(value))


def dates_text(value: object) -> str:
    """Dates as they are kept: ``2026-12-25, 2027-01-01``."""
    return ", ".join(f"{day:%Y-%m-%d}" for day in dates(value))


#: What may stand in settings that name days: how it is kept, and what is expected.
NAMES_DAYS: dict[str, tuple[Callable[[object], str], str]] = {
    "days of the week": (weekdays_text, WEEKDAYS_EXPECTED),
    "dates": (dates_text, DATES_EXPECTED),
}


def _words(value: object) -> list[object]:
    given: Iterable[object]
    if isinstance(value, str):
        given = value.replace(";", ",").split(",")
    elif isinstance(value, (list, tuple)):
        given = value
    else:
        given = [value]
    words = [one.strip() if isinstance(one, str) else one for one in given]
    return [word for word in words if word != ""]


def _weekday(word: object) -> int:
    if isinstance(word, str) and len(word) >= _LEAST_LETTERS:
        for number, name in enumerate(WEEKDAYS):
            if name.lower().startswith(word.lower().rstrip(".")):
                return number
    raise ValueError(WEEKDAYS_EXPECTED)


def _date(word: object) -> date:
    if isinstance(word, datetime):
        return word.date()
    if isinstance(word, date):
        return word
    try:
        return datetime.strptime(str(word), "%Y-%m-%d").date()
    except ValueError:
        raise ValueError(DATES_EXPECTED) from None
