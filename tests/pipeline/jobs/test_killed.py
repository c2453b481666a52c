"""Killed at random points: nothing lost, nothing doubled, nothing half read (a short bench)."""

import os
import subprocess
import sys

import pytest

from pipeline.environment import CHECKOUT


@pytest.mark.long
@pytest.mark.skipif(not hasattr(os, "fork"), reason="the bench copies its process by forking")
def test_ten_kills_lose_and_double_nothing(tmp_path):
    command = [sys.executable, "-m", "tests.bench.kill_bench", "--count", "10", "--seed", "7"]
    done = subprocess.run(
        [*command, "--folder", str(tmp_path / "killed")],
        cwd=CHECKOUT,
        env=os.environ | {"OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "10 kills" in done.stdout
    assert "WRONG" not in done.stdout
