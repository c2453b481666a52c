"""What lives for good is set aside once for each state of the modules."""

from __future__ import annotations

import gc
import sys
import types

from dashboard.heap import settle_heap


def test_it_is_done_anew_after_new_modules_alone():
    try:
        settle_heap()
        held = gc.get_freeze_count()
        assert held > 10_000
        assert not settle_heap()
        sys.modules["wear_atlas_new_module"] = types.ModuleType("wear_atlas_new_module")
        assert settle_heap()
        assert not settle_heap()
    finally:
        sys.modules.pop("wear_atlas_new_module", None)
        gc.unfreeze()
