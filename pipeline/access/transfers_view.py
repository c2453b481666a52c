"""Who agreed to pass parts between shops, as far as it concerns the asker's own."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from models.frames import Column, FrameSchema
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.settings.settings_file import SettingsFile, read_settings

#: Both owners say so; only this shop's; only the other's.
AGREED, WAITS, OFFERED = "agreed", "waits", "offered"

CONSENTS = FrameSchema(
    "consents",
    "one of the asker's shops, another shop, and one way that parts may go between them",
    (
        Column("shop_id", "text", "the own shop"),
        Column("other", "text", "the other"),
        Column("gives", "flag", "the own shop gives parts to the other; else it takes them"),
        Column("state", "text", "agreed, waits (for the other's owner) or offered (by them)"),
    ),
)


@view
def transfers_view(home: Home, asker: Asker) -> pd.DataFrame:
    """CONSENTS that the asker's shops say, and those that others say of the asker's shops.

    It is read from the settings as they are now; the plan holds what they were at its build.
    """
    rows = [
        {"shop_id": shop, "other": other, "gives": gives, "state": state}
        for shop, other, gives, state in _sides(read_settings(home))
        if asker.shops is None or shop in asker.shops
    ]
    if not rows:
        return CONSENTS.empty()
    frame = pd.DataFrame(rows, columns=CONSENTS.names)
    order = ["shop_id", "gives", "other"]
    return CONSENTS.check(frame.sort_values(order, ignore_index=True))


def _sides(told: SettingsFile) -> Iterator[tuple[str, str, bool, str]]:
    """Each pair as either shop sees it."""
    given, taken = set(told.given), set(told.taken)
    for pair in given | taken:
        giver, taker = pair
        agreed = pair in given and pair in taken
        yield giver, taker, True, AGREED if agreed else WAITS if pair in given else OFFERED
        yield taker, giver, False, AGREED if agreed else WAITS if pair in taken else OFFERED
