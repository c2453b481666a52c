"""Dates in forms that are read the same everywhere: by year first, or with the month named.

Names of months are written from memory, in lower case where the language does so.
"""

from __future__ import annotations

import pandas as pd

from dashboard.shown_as import shown_as
from pipeline.intake.settings.shown_settings import BY_YEAR

_MONTHS = {
    "English": "January February March April May June July August September October November "
    "December",
    "German": "Januar Februar März April Mai Juni Juli August September Oktober November Dezember",
    "French": "janvier février mars avril mai juin juillet août septembre octobre novembre "
    "décembre",
    "Spanish": "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre "
    "diciembre",
    "Italian": "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre "
    "novembre dicembre",
    "Dutch": "januari februari maart april mei juni juli augustus september oktober november "
    "december",
    "Portuguese": "janeiro fevereiro março abril maio junho julho agosto setembro outubro "
    "novembro dezembro",
}
_ORDER = {
    "German": "{day}. {month} {year}",
    "Spanish": "{day} de {month} de {year}",
    "Portuguese": "{day} de {month} de {year}",
}


def day_words(at: pd.Timestamp) -> str:
    """A day as the reader's settings have it: ``2026-03-14``, ``14 March 2026``."""
    chosen = shown_as()
    if chosen.dates == BY_YEAR:
        return f"{at:%Y-%m-%d}"
    return day_with_month(at, chosen.language_of_dates)


def day_with_month(at: pd.Timestamp, language: str) -> str:
    """A day with its month named in a language."""
    month = _MONTHS[language].split()[at.month - 1]
    number = "1er" if language == "French" and at.day == 1 else str(at.day)
    form = _ORDER.get(language, "{day} {month} {year}")
    return form.format(day=number, month=month, year=at.year)
