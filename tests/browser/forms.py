"""Filling Streamlit's fields in a browser as a person does."""

from __future__ import annotations

import re
from datetime import date

#: A field pressed while the page is still being drawn closes again, or loses what was typed.
TRIES, SETTLED_MS = 6, 700


def open_fold(page, words: str):
    """Open a fold by what it says, where it is closed; return it."""
    fold = page.get_by_test_id("stExpander").filter(has_text=words).first
    fold.wait_for()
    if fold.locator("details[open]").count() == 0:
        fold.locator("summary").click()
    fold.locator("details[open]").wait_for()
    page.wait_for_timeout(SETTLED_MS)
    return fold


def choose(page, label: str, option: str | re.Pattern, *, within=None) -> None:
    """Choose an option of a list by the list's label, within a part of the page or anywhere."""
    named = {"name": option} if isinstance(option, re.Pattern) else {"name": option, "exact": True}
    offered = page.get_by_role("option", **named).first
    for _ in range(TRIES):
        (within or page).get_by_role("combobox", name=re.compile(label)).first.click()
        page.wait_for_timeout(SETTLED_MS)
        if offered.is_visible():
            break
    offered.click()
    page.wait_for_timeout(SETTLED_MS)
    if page.get_by_role("listbox").count():  # a list of several stays open; else this would clear
        page.keyboard.press("Escape")
        page.wait_for_timeout(SETTLED_MS)


def type_number(page, label: str, value: int) -> None:
    """Put a number into its field."""
    field = page.get_by_label(label, exact=True)
    field.fill(str(value))
    field.press("Tab")
    page.wait_for_timeout(SETTLED_MS)


def type_day(page, label: str, day: date) -> None:
    """Put a day into its field, part by part as it is drawn."""
    field = page.get_by_test_id("stDateInput").filter(has_text=label)
    for part, digits in (("year", f"{day:%Y}"), ("month", f"{day:%m}"), ("day", f"{day:%d}")):
        field.get_by_role("spinbutton", name=re.compile(f"^{part},")).click()
        page.keyboard.type(digits)
    page.keyboard.press("Tab")
    page.wait_for_timeout(SETTLED_MS)


def press(page, name: str) -> None:
    """Press a button by what it says."""
    page.get_by_role("button", name=name, exact=True).click()
