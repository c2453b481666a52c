"""How far long work is: told on the terminal, and in the data home for pages to read.

On a terminal a bar is drawn; where the output goes to a file, whole lines at intervals. A page
reads the card ``building_now.json``, which stands only while there is a builder.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from tqdm import tqdm

from pipeline.jobs.how_far import HowFar
from pipeline.jobs.whole_left import Stages
from pipeline.jobs.workers import ONE, Workers, in_order

Say = Callable[[str], None]
Item = TypeVar("Item")
Result = TypeVar("Result")
#: Seconds between two lines where no bar can be drawn, and between two looks at the card.
LINE_EVERY_S = 10.0
CARD_EVERY_S = 1.0
#: The unit of what is counted by size; bars show it in thousands, millions and so on.
BYTES = "B"


@dataclass
class LongWork:
    """Who does one long piece of work, and who is told how far it is.

    ``say`` is told of each stage; with ``bars`` the terminal shows how far a stage is; ``card`` is
    where pages read the same; ``stages`` knows what earlier work of the kind took; ``between`` is
    done before each stage.
    """

    workers: Workers = ONE
    say: Say = lambda text: None
    bars: bool = False
    card: Path | None = None
    stages: Stages = field(default_factory=Stages)
    between: Callable[[], None] = lambda: None
    _written_at: float = field(default=0.0, repr=False)

    def stage(self, text: str) -> None:
        """Begin a stage of which no parts are counted."""
        self.between()
        self.stages.begin(text)
        how_far = HowFar(text, whole_s=self.stages.left_s())
        self.say(text + _of_the_whole(how_far))
        self._note(how_far)

    @contextmanager
    def counted(self, stage: str, unit: str, total: int) -> Iterator[Callable[[int], None]]:
        """Begin a stage of ``total`` parts; what is given is told how many more are done."""
        if total:
            self.between()
            self.stages.begin(stage, counted=True)
        begun, done = time.monotonic(), 0
        if total and not self.bars:  # else the bar says so
            self.say(stage)
        self._note(HowFar(stage, 0, total, unit))
        with _bar(stage, unit, total, shown=self.bars and total > 0) as shown:

            def step(more: int) -> None:
                nonlocal done
                done += more
                left_s = (time.monotonic() - begun) / done * max(total - done, 0) if done else None
                how_far = HowFar(stage, done, total, unit, left_s, self.stages.left_s(left_s))
                shown(more, _of_the_whole(how_far))
                if done and time.monotonic() - self._written_at >= CARD_EVERY_S:
                    self._note(how_far)

            yield step
            if done < total:  # what was counted and then not there to be done
                step(total - done)
        if total:
            self.stages.end_counted()

    def each(self, stage: str, unit: str, items: Sequence[Item]) -> Iterator[Item]:
        """Go through items as the parts of a stage, in this process."""
        with self.counted(stage, unit, len(items)) as step:
            for item in items:
                yield item
                step(1)

    def each_by_size(
        self, stage: str, items: Sequence[Item], size: Callable[[Item], int]
    ) -> Iterator[Item]:
        """The same, where some take far longer than others: how far it is goes by their bytes."""
        with self.counted(stage, BYTES, sum(map(size, items))) as step:
            for item in items:
                of_item = size(item)  # before, since a file may be gone afterwards
                yield item
                step(of_item)

    def shared(
        self, stage: str, unit: str, work: Callable[[Any], Result], tasks: Sequence[Any]
    ) -> list[Result]:
        """The results of tasks as the parts of a stage, in order, whoever does them."""
        with self.counted(stage, unit, len(tasks)) as step:
            return in_order(work, tasks, self.workers, step=step)

    def _note(self, how_far: HowFar) -> None:
        if self.card is None:
            return
        self._written_at = time.monotonic()
        draft = self.card.with_name(f".{self.card.name}")
        with suppress(OSError):  # it is never needed
            draft.write_text(json.dumps(asdict(how_far)) + "\n", encoding="utf-8")
            draft.replace(self.card)


def _of_the_whole(how_far: HowFar) -> str:
    return f" ({how_far.whole_left} left of the whole)" if how_far.whole_left else ""


@contextmanager
def _bar(stage: str, unit: str, total: int, *, shown: bool) -> Iterator[Callable[[int, str], None]]:
    """Tells of parts done, and of the whole; drawn on a terminal, else written line by line."""
    if shown and not sys.stderr.isatty():
        lines = _Lines(stage, unit, total)
        yield lines.step
        return
    # parts come in bursts from several workers: the mean rate tells the time left better
    how = {"total": total, "unit": unit, "unit_scale": unit == BYTES}
    with tqdm(desc=stage, disable=not shown, smoothing=0, **how) as bar:

        def step(more: int, of_the_whole: str) -> None:
            bar.set_postfix_str(of_the_whole, refresh=False)
            bar.update(more)

        yield step


class _Lines:
    """The same words as the bar's, a line at a time."""

    def __init__(self, stage: str, unit: str, total: int) -> None:
        self._how = {"total": total, "unit": unit, "prefix": stage, "ncols": 0}
        self._how |= {"unit_scale": unit == BYTES}
        self._total, self._done = total, 0
        self._begun = self._last = time.monotonic()

    def step(self, more: int, of_the_whole: str) -> None:
        self._done += more
        now = time.monotonic()
        if now - self._last >= LINE_EVERY_S or self._done >= self._total:
            self._last = now
            said = tqdm.format_meter(self._done, elapsed=now - self._begun, **self._how)
            said += of_the_whole
            print(said, file=sys.stderr, flush=True)
