"""What is said of a test that the published records do not hold yet."""

from __future__ import annotations

from dashboard.words import counted
from pipeline.jobs.take_up import QUIET, NotTakenUp

NOT_HELD_YET = (
    "This test is saved, and shown by itself. Its readings are held against the good ranges "
    "as last published. The worklist, the plans and the good ranges do not hold it yet."
)


def taken_up_words(waiting: NotTakenUp) -> str:
    """When the records will hold what was just entered."""
    if waiting.building:
        return "A build is under way: once it has published, they will, and this page says so."
    if waiting.failed:
        why = waiting.failed.rstrip(".")
        return (
            f"The build begun for it ended without publishing: {why}. The test stays saved; the "
            "build can be begun again at the foot of this page."
        )
    if not waiting.hand_ins:
        return "They will with the newer records, published just now."
    quiet = counted(round(QUIET.total_seconds()), "second")
    return (
        f"A build begins by itself once nothing has been entered for {quiet} and a page is open; "
        "once it has published, they will hold this test, and this page says so."
    )
