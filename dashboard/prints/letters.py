"""The letters of a PDF, and what is done with characters that they lack.

A PDF can only show letters that it carries. DejaVu Sans (free to use and to embed) holds Latin,
Greek, Cyrillic, Armenian, Georgian, Hebrew and Arabic and comes with matplotlib; matplotlib itself
is not started. Any other character is written as its number, and the sheet says so.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from fontTools.ttLib import TTFont

from dashboard.markup import turns_spelled

FAMILY = "DejaVu Sans"
_FILES = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf"}
_KEPT = frozenset("\n")
NOT_IN_THESE_LETTERS = (
    "Some characters are not in this PDF's letters and stand here as their Unicode numbers, such "
    "as [U+4E2D]. The HTML sheet shows them as they were written."
)


def font_files() -> dict[str, Path]:
    """Style (plain, ``B`` for bold) to the font's file.

    Raises
    ------
    FileNotFoundError
        matplotlib, which brings them, is not installed whole.
    """
    found = find_spec("matplotlib")
    roots = found.submodule_search_locations if found else None
    folder = Path(roots[0] if roots else "") / "mpl-data" / "fonts" / "ttf"
    files = {style: folder / name for style, name in _FILES.items()}
    for path in files.values():
        if not path.exists():
            raise FileNotFoundError(f"{path.name} is missing: install requirements.txt again.")
    return files


def in_these_letters(text: str) -> tuple[str, bool]:
    """The text with what the letters lack written as numbers, and whether anything was.

    Marks of direction are spelled out, as on the pages: the letters have signs for them.
    """
    composed = unicodedata.normalize("NFC", turns_spelled(text))
    shown = "".join(_shown(character) for character in composed)
    return shown, shown != "".join(" " if _is_unseen(c) else c for c in composed)


def _shown(character: str) -> str:
    if character in _KEPT or ord(character) in _held():
        return character
    return " " if _is_unseen(character) else f"[U+{ord(character):04X}]"


def _is_unseen(character: str) -> bool:
    """Tabs, control characters and the like, which leave no mark on paper."""
    return character not in _KEPT and unicodedata.category(character) in ("Cc", "Cf", "Cs")


@cache
def _held() -> frozenset[int]:
    """Characters in both the plain and the bold letters."""
    held = [set(TTFont(path, lazy=True).getBestCmap()) for path in font_files().values()]
    return frozenset.intersection(*map(frozenset, held))
