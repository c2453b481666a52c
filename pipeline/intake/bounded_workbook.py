"""Whether a workbook can be read within bounds, found out in a process of its own.

A file of one kilobyte may claim a sheet of seventeen thousand million cells, or unpack to more
than there is memory, and what reads workbooks ends its whole process over that. So each is opened
once in a child that may take so much memory and no more; only what the child comes through with
is opened here.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from pipeline.intake.csv_text import BrokenFileError

MOST_BYTES = 2 << 30
MOST_CELLS = 20_000_000
LONGEST_S = 300
#: Prints the cells of all sheets; errors that have words are left to be met again and told here.
_CHILD = """
import sys
try:
    import resource
    resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[2]),) * 2)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
except ImportError:
    pass
from python_calamine import load_workbook
try:
    book = load_workbook(sys.argv[1])
    print(sum(s.height * s.width for s in map(book.get_sheet_by_name, book.sheet_names)))
except MemoryError:
    sys.exit(3)
except Exception:
    print(0)
"""


def refuse_boundless(path: Path) -> None:
    """Raise BrokenFileError for a workbook that takes more than it may to read."""
    command = [sys.executable, "-I", "-c", _CHILD, str(path.resolve()), str(MOST_BYTES)]
    try:
        done = subprocess.run(  # noqa: S603 - our own program; the path is an argument, no shell
            command, capture_output=True, timeout=LONGEST_S, check=False
        )
    except subprocess.TimeoutExpired:
        raise BrokenFileError(
            f"the workbook takes longer than {LONGEST_S} s to read; expected {_EXPECTED}"
        ) from None
    if done.returncode != 0:
        raise BrokenFileError(
            "the workbook unpacks to more than can be held in memory, or ends the program that "
            f"reads it; expected {_EXPECTED}"
        )
    cells = int(done.stdout)
    if cells > MOST_CELLS:
        raise BrokenFileError(f"the workbook has {cells:,} cells; expected {_EXPECTED}")


_EXPECTED = f"at most {MOST_CELLS:,} cells from the first to the last, or its sheets as CSV"
