from types import SimpleNamespace

import numpy as np
import pytest

from models.sweeps.tables import _median_heights
from models.sweeps.windows import WINDOWS


@pytest.mark.parametrize("passes", [2, 3, 6, 12, 13, 40])
def test_the_lower_median_over_the_passes_leaves_blanks_out(passes):
    rng = np.random.default_rng(passes)
    sweep = np.repeat([0, 2, 3], [passes, passes, 1])
    height = rng.random((sweep.size, WINDOWS)).astype(np.float32)
    height[rng.random(height.shape) < 0.4] = np.nan
    found = _median_heights(
        SimpleNamespace(windows=SimpleNamespace(sweep=sweep, height=height), bounds=np.arange(5))
    )
    for i in range(4):
        for window in range(WINDOWS):
            known = np.sort(height[sweep == i, window])
            known = known[np.isfinite(known)]
            expected = np.nan if known.size < 2 else known[(known.size - 1) // 2]
            assert found[i, window] == pytest.approx(expected, nan_ok=True)
