"""Keep what stays for good out of the garbage collector's way.

Modules, the classes of charts and of their checks are a hundred thousand objects that stay for as
long as the program runs. Looking through them again after each page took a third of all processor
time with many people at once, since Python's collector stops every thread meanwhile.
"""

from __future__ import annotations

import gc
import sys
import threading

_LOCK = threading.Lock()
_settled_at = 0


def settle_heap() -> bool:
    """Set aside what lives now, where modules were loaded since this was last done.

    What is set aside is still let go once nothing refers to it; only rings among it are not. So
    it is done after new modules alone, which comes to an end once each page was opened once.

    Returns
    -------
    bool
        Whether anything was set aside.
    """
    global _settled_at
    if len(sys.modules) == _settled_at or not _LOCK.acquire(blocking=False):
        return False
    try:
        gc.collect()
        gc.freeze()
        _settled_at = len(sys.modules)
        return True
    finally:
        _LOCK.release()
