"""Letters that must be put for one another before text is looked through whatever its case.

DuckDB has ``lower``, Python's search goes by ``casefold``: *Straße* is found by ``STRASSE``. The
two differ for few letters. Once these are replaced, ``lower`` tells text apart just as ``casefold``
does; the search's own words go through both.
"""

from __future__ import annotations

from functools import cache

#: Letters beyond here have no folding of their own (tested over all of Unicode).
_BEYOND = 0x10000
#: Lowered to one letter by DuckDB, to two by Python.
_DOTTED = "\u0130"


@cache
def odd_letters() -> dict[str, str]:
    """Each letter that ``lower`` does not fold as ``casefold`` does, with what it folds to."""
    letters = (chr(code) for code in range(0x80, _BEYOND) if not 0xD800 <= code < 0xE000)
    return {
        letter: letter.casefold()
        for letter in letters
        if letter.casefold().lower() != letter.lower() or letter == _DOTTED
    }


@cache
def fold_parameters() -> dict[str, str | list[str]]:
    """The same as a statement takes it: the letters, what they fold to, and a pattern of any."""
    found = odd_letters()
    return {
        "odd_letter": f"[{''.join(found)}]",
        "odd_letters": list(found),
        "odd_folded": list(found.values()),
    }
