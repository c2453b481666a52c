"""The network that this process serves; nothing where it answers this machine alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.home import Home
from pipeline.intake.settings.network_file import Network

if TYPE_CHECKING:  # not needed, and not loaded, where nobody signs in
    from dashboard.network.sign_ins import SignIns

#: What Streamlit calls our provider; the name is never shown.
PROVIDER = "shop"


@dataclass(frozen=True)
class Served:
    """What is served, to whom: set once, before the first request."""

    network: Network
    home: Home
    sign_ins: SignIns


_SERVED: list[Served] = []


def serve_as(served: Served) -> None:
    """From now on each page asks who is there."""
    _SERVED[:] = [served]


def network_served() -> Served | None:
    """What is served on a network by this process, if it is."""
    return _SERVED[0] if _SERVED else None
