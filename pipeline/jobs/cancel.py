"""A job that is asked to end (Ctrl-C, or SIGTERM from whoever manages processes) ends tidily."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

#: How shells count a process that a signal ended.
_BY_A_SIGNAL = 128


class CancelledError(BaseException):
    """Somebody asked for the end of the job; not an Exception, so that nothing takes it for one."""

    def __init__(self, number: int) -> None:
        super().__init__(signal.Signals(number).name)
        self.exit_code = _BY_A_SIGNAL + number


@contextmanager
def cancellable() -> Iterator[None]:
    """Raise CancelledError in here once SIGINT or SIGTERM comes; a second cuts no tidying up.

    What was being done then may fail in its own way, as a query that is cut off does: that counts
    as cancelled too.
    """
    if threading.current_thread() is not threading.main_thread():
        yield  # signals reach the main thread alone
        return
    came: list[int] = []

    def asked(number: int, frame: FrameType | None) -> None:
        came.append(number)
        if len(came) == 1:
            raise CancelledError(number)

    before = {number: signal.signal(number, asked) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    except CancelledError:
        raise
    except BaseException as error:
        if came:
            raise CancelledError(came[0]) from error
        raise
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
