import re
import tomllib
from pathlib import Path

import pytest

import dashboard
from dashboard import look

FOLDER = Path(dashboard.__file__).parent
CONFIG = tomllib.loads((FOLDER.parent / ".streamlit" / "config.toml").read_text(encoding="utf-8"))


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_contrast_of_black_on_white_is_21():  # WCAG 2.2, definition of contrast ratio: 1 to 21
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


@pytest.mark.parametrize("theme", [0, 1])
@pytest.mark.parametrize("ground", ["ground", "raised"])
@pytest.mark.parametrize(
    "name", ["text", "quiet", "link", "replace", "test", "leave", "not-enough-known"]
)
def test_words_stand_out_from_their_ground(name, ground, theme):
    assert contrast(look.PAGE[name][theme], look.PAGE[ground][theme]) >= 4.5  # WCAG 2.2, 1.4.3


@pytest.mark.parametrize("theme", [0, 1])
@pytest.mark.parametrize("colour", [*look.CHART_MARKS.values()])
def test_marks_in_charts_stand_out_in_both_themes(colour, theme):
    assert contrast(colour, look.PAGE["ground"][theme]) >= 3  # WCAG 2.2, 1.4.11


@pytest.mark.parametrize(("theme", "place"), [("light", 0), ("dark", 1)])
def test_fields_have_the_colours_of_the_palette(theme, place):
    given = CONFIG["theme"][theme]
    names = {"backgroundColor": "ground", "secondaryBackgroundColor": "raised", "textColor": "text",
             "linkColor": "link", "primaryColor": "link", "borderColor": "edge"}  # fmt: skip
    assert given == {key: look.PAGE[name][place] for key, name in names.items()}


def test_letters_are_at_least_18_px_and_nothing_is_reported_or_served_outwards():
    assert CONFIG["theme"]["baseFontSize"] >= 18
    assert CONFIG["server"]["address"] == "127.0.0.1"
    assert CONFIG["browser"]["gatherUsageStats"] is False


def test_no_part_of_the_dashboard_is_fetched_from_elsewhere():
    files = [p for p in FOLDER.rglob("*") if p.suffix in (".py", ".css", ".js")]
    text = "\n".join(p.read_text(encoding="utf-8") for p in files)
    text = text.replace('xmlns="http://www.w3.org/2000/svg"', "")  # a name, never asked for
    hosts = set(re.findall(r"(?:https?:)?//([\w.-]+\.[a-z]{2,})", text))
    assert hosts == set()
    assert ":material/" not in text
    assert "@import" not in text


def test_the_pages_know_the_pipeline_and_not_what_lies_beneath_it():
    for path in FOLDER.rglob("*.py"):
        imports = re.findall(
            r"^(?:from|import) (\w+)", path.read_text(encoding="utf-8"), re.MULTILINE
        )
        assert not {"models", "duckdb"} & set(imports), path
