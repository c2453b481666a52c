"""Text that a spreadsheet shows and does not work out, and back again.

Whatever begins as a formula does gets one ``'`` in front when it is saved as CSV, and so does what
already begins with such marks: so that taking one away always gives back what was there. Numbers
stay as they are.
"""

from __future__ import annotations

import re

#: Of what a spreadsheet may work out: a mark of a formula (wide ones too), blanks before it or not.
_FORMULA = r"'*([\s\x00-\x1f\ufeff]*[=+\-@＝＋－＠]|[\t\r\n])"  # noqa: RUF001 - wide on purpose
_STARTS = re.compile(_FORMULA)
_GUARDED = re.compile(f"'(?={_FORMULA})")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def harmless(text: str) -> str:
    """The text with ``'`` in front where a spreadsheet would take it for a formula."""
    if not _STARTS.match(text) or _NUMBER.fullmatch(text):
        return text
    return f"'{text}"


def as_it_was(text: str) -> str:
    """What :func:`harmless` was given."""
    return _GUARDED.sub("", text, count=1) if _GUARDED.match(text) else text
