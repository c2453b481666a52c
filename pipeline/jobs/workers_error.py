"""What is raised where work cannot be shared out to its end."""

from __future__ import annotations

from pipeline.home import HomeError


class WorkersError(HomeError):
    """Work could not be shared out to its end; the message says why and what to do."""
