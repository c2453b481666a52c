"""The owner's settings as the file has them, and which of them the published plans do not hold."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from pipeline.access.reading import Edition, edition_of, reading
from pipeline.access.scope.allowed import view
from pipeline.access.what_if import built_with
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.settings.settings_file import read_settings


@dataclass(frozen=True)
class SettingsView:
    """``values`` of every setting by name, ``problems`` sentences on what cannot stand.

    ``not_built`` names the settings that the published plans were made with other values of.
    """

    edition: Edition
    values: dict[str, object]
    problems: tuple[str, ...]
    not_built: tuple[str, ...]


@view
def settings_view(home: Home, asker: Asker) -> SettingsView:
    """Read the settings.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    told = read_settings(home)
    with reading(home, asker) as (manifest, connection):
        edition, built = edition_of(home, manifest), asdict(built_with(connection))
    now = asdict(told.settings)
    changed = tuple(name for name, value in now.items() if built[name] != value)
    return SettingsView(
        edition, now | asdict(told.shown) | asdict(told.pooled), told.problems, changed
    )
