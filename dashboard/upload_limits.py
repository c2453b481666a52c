"""How much may be handed in through a page: a file, and all files of one hand-in together.

The server refuses a larger file while it comes in. Here sizes are looked at once more, by what
came, since only the server's own limit holds for whoever does not use the page.
"""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

#: A hand-in takes so many times what one file may have.
FILES_WORTH = 2
COMMAND = "python3 -m pipeline ingest"


def file_limit_mb() -> int:
    """What one file may have: server.maxUploadSize, or upload_limit_mb of `network.toml`."""
    return int(st.get_option("server.maxUploadSize"))


def too_much(files: Sequence[UploadedFile], limit_mb: int | None = None) -> list[str]:
    """A sentence on each file that is too large, and on all together; none where all is well."""
    most = limit_mb or file_limit_mb()
    by = f"larger ones are handed in by the command {COMMAND} FILE"
    said = [
        f"{file.name} has {_mb(file.size)} MB; expected at most {most:,} MB: {by}."
        for file in files
        if file.size > most << 20
    ]
    together = sum(file.size for file in files)
    if not said and together > FILES_WORTH * most << 20:
        said.append(
            f"Together the files have {_mb(together)} MB; expected at most "
            f"{FILES_WORTH * most:,} MB at once: hand them in by parts, or by the command "
            f"{COMMAND} FOLDER."
        )
    return said


def _mb(size: int) -> str:
    return f"{size / (1 << 20):,.1f}"
