"""What a check of a data home finds, and what is to be done about it."""

from __future__ import annotations

from dataclasses import dataclass

#: What is done: by the next build itself, by whoever keeps the copy, or nothing.
NEXT_BUILD, COPY, REMARK = "next_build", "copy", "remark"


@dataclass(frozen=True)
class Finding:
    """One thing that is not as it ought to be.

    Parameters
    ----------
    where : str
        File or folder, as seen from the home.
    what : str
        What is wrong with it, to be read behind ``where``.
    remedy : str
        ``next_build``: the next build makes it anew by itself. ``copy``: it must be put back from
        a copy. ``remark``: nothing is wrong with the records, but it is worth knowing.
    then : str
        What the remedy comes to, as a sentence; the usual one where empty.
    """

    where: str
    what: str
    remedy: str
    then: str = ""

    @property
    def needs_copy(self) -> bool:
        """Whether nothing in the home itself can mend it."""
        return self.remedy == COPY

    @property
    def is_wrong(self) -> bool:
        """Whether it is more than a remark."""
        return self.remedy != REMARK

    def __str__(self) -> str:
        usual = {
            NEXT_BUILD: "The next build makes it anew.",
            COPY: f"Put {self.where} back from the copy you kept.",
            REMARK: "",
        }
        return f"{self.where}: {self.what}. {self.then or usual[self.remedy]}".rstrip()
