"""Workers held to the code at hand as ours are, with memory handled as Dask starts them."""

from __future__ import annotations

from distributed.worker import Worker
from threadpoolctl import threadpool_limits

from pipeline.jobs.cluster import MadeReady


class AsDaskStarts(MadeReady):
    """One thread, and MALLOC_TRIM_THRESHOLD_ as Dask's nanny set it."""

    def setup(self, worker: Worker) -> None:
        """Called by Dask in the worker."""
        self.limits = threadpool_limits(1)
