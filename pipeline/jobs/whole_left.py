"""How long the whole of a build may still take, by how long its stages took in earlier ones.

What is only done where something changed (sweeps measured, a fit looked back on) is a stage whose
parts are counted, and nobody knows before whether it comes. So two times are told: without any of
those that have not begun, and with all of them at their longest. Nothing is told on a home of which
no build is known, or to which much was handed in since.
"""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field

from pipeline.home import Home, write_new
from pipeline.intake.receive import handed_files
from pipeline.intake.seals import size_of

#: Earlier times tell nothing once the files handed in hold so many times what they held then.
MUCH_MORE = 1.5
#: What is done before the first stage that is not counted, between those that are.
_FIRST = "the rest"


@dataclass(frozen=True)
class Took:
    """How long a stage took, all of its turns together, and whether its parts are counted."""

    took_s: float
    counted: bool


@dataclass
class Stages:
    """Times of a build's stages as it goes on, beside those of earlier builds (in their order).

    An uncounted stage goes on once a counted one within it has ended.
    """

    earlier: Mapping[str, Took] = field(default_factory=dict)
    took: dict[str, Took] = field(default_factory=dict)
    _now: str = ""
    _around: str = _FIRST
    _since: float = 0.0

    def begin(self, stage: str, *, counted: bool = False) -> None:
        """Another stage begins, and the one before is over."""
        self.end()
        self.took.setdefault(_FIRST, Took(0.0, counted=False))
        self._now = stage
        self._around = self._around if counted else stage
        self.took.setdefault(stage, Took(0.0, counted))

    def end_counted(self) -> None:
        """The counted stage is over; what it stood within goes on."""
        self.end()
        self._now = self._around

    def end(self) -> None:
        """No stage is at work any more."""
        now = time.monotonic()
        if self._now:
            before = self.took[self._now]
            self.took[self._now] = Took(before.took_s + now - self._since, before.counted)
        self._now, self._since = "", now

    def left_s(self, of_this_s: float | None = None) -> tuple[float, float] | None:
        """Least and most seconds left of the whole, ``of_this_s`` being left of a counted stage.

        None where that cannot be told: an earlier build did not come through this stage, or it has
        taken longer by now than it ever did.
        """
        order = list(self.earlier)
        if self._now not in self.earlier or self._around not in self.earlier:
            return None
        is_counted = self.earlier[self._now].counted
        mine = of_this_s if is_counted else self._rest_s(self._now)
        if mine is None or mine < 0:
            return None
        behind = order[order.index(self._now) + 1 :]
        sure = [name for name in behind if not self.earlier[name].counted]
        unsure = [name for name in behind if self.earlier[name].counted and name not in self.took]
        least = mine + sum(self.earlier[name].took_s for name in sure)
        if is_counted:
            least += max(self._rest_s(self._around), 0.0)
        return least, least + sum(self.earlier[name].took_s for name in unsure)

    def _rest_s(self, stage: str) -> float:
        before = self.took[stage].took_s if stage in self.took else 0.0
        at_work = time.monotonic() - self._since if stage == self._now else 0.0
        return self.earlier[stage].took_s - before - at_work


def earlier_stages(home: Home) -> Mapping[str, Took]:
    """How long stages took when they last came; none where that tells nothing of this build."""
    try:
        known = json.loads(home.stages_took.read_text(encoding="utf-8"))
        bytes_then = int(known["handed_in_bytes"])
        found = {
            str(name): Took(float(of["took_s"]), bool(of["counted"]))
            for name, of in known["stages"].items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}
    return found if handed_in_bytes(home) <= MUCH_MORE * bytes_then else {}


def keep_stages(home: Home, stages: Stages) -> None:
    """Keep how long the stages of a build took: of counted ones the longest known.

    It is a help alone: where it cannot be written, nothing is amiss.
    """
    stages.end()
    order, earlier = list(stages.took), stages.earlier
    for name, before in zip(earlier, [None, *earlier], strict=False):
        if name not in order:  # it stands where it stood
            order.insert(order.index(before) + 1 if before else 0, name)
    known = [(name, of[name]) for name in order for of in (earlier, stages.took) if name in of]
    longest: dict[str, Took] = {}
    for name, took in known:
        if not took.counted or name not in longest or took.took_s > longest[name].took_s:
            longest[name] = took
    told = {name: asdict(took) for name, took in longest.items()}
    card = {"handed_in_bytes": handed_in_bytes(home), "stages": told}
    with suppress(OSError):
        write_new(home.stages_took, json.dumps(card) + "\n")


def handed_in_bytes(home: Home) -> int:
    """Size of all that was handed in, which the time of a build goes by."""
    return sum(size_of(file.path) for file in handed_files(home))
