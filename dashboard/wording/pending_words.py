"""What is said of a test that the published records do not hold yet."""

from __future__ import annotations

from dashboard.words import counted
from pipeline.jobs.how_far import HowFar
from pipeline.jobs.take_up import QUIET, NotTakenUp

NOT_HELD_YET = (
    "This test is saved, and shown by itself. Its readings are held against the good ranges "
    "as last published. The worklist, the plans and the good ranges do not hold it yet."
)
#: From how many seconds on the time left is told in minutes.
_MINUTES_FROM_S = 100


def taken_up_words(waiting: NotTakenUp) -> str:
    """When the records will hold what was just entered."""
    if not waiting.hand_ins:
        return "They will with the newer records, published just now."
    if waiting.building:
        at = f" ({how_far_words(waiting.how_far)})" if waiting.how_far else ""
        return f"A build is under way{at}: once it has published, they will, and this page says so."
    if waiting.failed:
        why = waiting.failed.rstrip(".")
        return (
            f"The build begun for it ended without publishing: {why}. The test stays saved; the "
            "build can be begun again at the foot of this page."
        )
    if waiting.stopped:
        return (
            "The build begun for it was stopped. The test stays saved; the build can be begun "
            "again at the foot of this page, and begins by itself after a further entry."
        )
    quiet = counted(round(QUIET.total_seconds()), "second")
    return (
        f"A build begins by itself once nothing has been entered for {quiet} and a page is open; "
        "once it has published, they will hold this test, and this page says so."
    )


def how_far_words(at: HowFar) -> str:
    """What a build is at, the share of that step done and the time it may still take."""
    said = at.stage[:1].lower() + at.stage[1:]
    if at.total:
        said += f", {100 * at.done // at.total} % done"
    if at.done < at.total and at.left_s is not None:
        said += f", about {_left_words(at.left_s)} left of this step"
    if at.whole_left:
        said += f", {at.whole_left} left in all as builds before went"
    return said


def _left_words(seconds: float) -> str:
    if seconds < _MINUTES_FROM_S:
        return counted(max(1, round(seconds)), "second")
    return counted(round(seconds / 60), "minute")
