"""What README.md and DEVELOPERS.md say is so."""

import re
from pathlib import Path

import pytest

from pipeline.commands import _parser
from pipeline.intake.contract import TABLES

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DOCUMENTS = {
    "README.md": README,
    "DEVELOPERS.md": DEVELOPERS,
    "seed_data/README.md": (ROOT / "seed_data" / "README.md").read_text(encoding="utf-8"),
}


def _anchor(heading: str) -> str:
    return re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-")


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_and_pictures_lead_somewhere(name):
    for target in re.findall(r"\]\(([^)]+)\)", DOCUMENTS[name]):
        path, _, anchor = target.partition("#")
        linked = (ROOT / name).parent / path if path else ROOT / name
        assert linked.exists(), target
        if anchor:
            headings = re.findall(r"^#+ (.+)$", linked.read_text(encoding="utf-8"), re.MULTILINE)
            assert anchor in {_anchor(heading) for heading in headings}, target


@pytest.mark.parametrize("name", DOCUMENTS)
def test_files_named_exist(name):
    for path in re.findall(
        r"`((?:models|pipeline|dashboard|tests|seed_data)/[\w/.-]+)`", DOCUMENTS[name]
    ):
        assert (ROOT / path).exists(), path


def test_the_commands_in_the_readme_are_commands():
    commands = re.findall(r"python3 -m (\w+)(?: ([^`\n]*))?", README)
    assert {"dashboard", "tests", "pipeline"} == {module for module, _ in commands}
    for module, arguments in commands:
        assert (ROOT / module / "__main__.py").exists()
        if module == "pipeline":
            _parser().parse_args(arguments.split())


def test_every_contract_table_and_column_is_listed():
    for table in TABLES.values():
        (listed,) = re.findall(rf"^- `{table.name}`: ((?:.|\n  )+)", DEVELOPERS, re.MULTILINE)
        names = [
            f"**{field.name}**"
            if field.name in table.key
            else field.name + ("" if field.required else "?")
            for field in table.fields
        ]
        assert re.split(r",\s+", listed.strip()) == names


def test_every_word_a_column_takes_is_listed():
    for table in TABLES.values():
        for field in table.fields:
            if field.kind == "word":
                name = rf"^- `{table.name}\.{field.name}`: ((?:.|\n  )+)"
                (listed,) = re.findall(name, DEVELOPERS, re.MULTILINE)
                assert re.findall(r"`(\w+)`", listed) == list(field.words)


def test_the_glossary_has_a_meaning_a_unit_and_a_source_for_each_name():
    glossary = DEVELOPERS.split("## Glossary")[1]
    rows = [line.strip("|").split("|") for line in glossary.splitlines() if line.startswith("|")][
        2:
    ]
    assert len(rows) > 50
    names = [row[0].strip() for row in rows]
    assert len(names) == len(set(names))
    for row in rows:
        assert len(row) == 4, row
        assert all(cell.strip() for cell in row), row
