"""Who asks, and for which shops and fleets: an argument of every read and every entry.

A dashboard that answers this machine alone asks as :func:`whoever_is_here`; one on the shop's
network asks as the person signed in, as ``people.toml`` in the data home describes them.
"""

from __future__ import annotations

from dataclasses import dataclass

TECHNICIAN, OWNER, OPERATOR = "technician", "owner", "operator"
ROLES = (TECHNICIAN, OWNER, OPERATOR)


@dataclass(frozen=True)
class Asker:
    """One person's part in the shop.

    ``name`` is what the record of who did what keeps. ``shops`` and ``fleets`` are the
    identifiers whose records they may see, None where nothing is held back; technicians and
    owners go by shops, operators by fleets.
    """

    name: str
    role: str
    shops: frozenset[str] | None = None
    fleets: frozenset[str] | None = None

    def __post_init__(self) -> None:
        """Refuse a role nobody knows.

        Raises
        ------
        ValueError
            The role is not one of ROLES.
        """
        if self.role not in ROLES:
            raise ValueError(f"{self.role!r} is not a role; expected one of {', '.join(ROLES)}.")

    @property
    def sees_all(self) -> bool:
        """Whether no record is held back from them."""
        return (self.fleets if self.role == OPERATOR else self.shops) is None

    @property
    def scope(self) -> str:
        """A key of all that they may see: what was read for one scope serves that one alone."""
        seen = (sorted(of) if of is not None else None for of in (self.shops, self.fleets))
        return repr((self.role, *seen))


def whoever_is_here() -> Asker:
    """The person at this machine, where nobody signs in: an owner of all that the home holds."""
    return Asker("this machine", OWNER)
