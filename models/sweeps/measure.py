"""Measure recorded sweeps: the public door of this package."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.sweeps import schemas
from models.sweeps.report import Context, Rows, contexts_of, report_batch, report_unmeasured
from models.sweeps.samples import Read, Sweeps, read_arrays, read_samples

MEASURE_VERSION = "5"  # goes up whenever the same sweep gives another result
BATCH_SAMPLES = 2_000_000  # samples analysed together, which bounds the memory used


@dataclass(frozen=True)
class SweepResults:
    """Frames of ``models.sweeps.schemas``: one measures row a session, and what belongs to it."""

    measures: pd.DataFrame
    dropouts: pd.DataFrame
    profile: pd.DataFrame
    passes: pd.DataFrame
    findings: pd.DataFrame


def measure_sweeps(samples: pd.DataFrame, contexts: pd.DataFrame) -> SweepResults:
    """Measure the sweeps of many sessions.

    Parameters
    ----------
    samples : frame of ``schemas.SAMPLES``
        Rows of a session together, in the order recorded.
    contexts : frame of ``schemas.CONTEXTS``
        One row a session. A session without samples, and samples without a context, are measured
        as far as that goes and carry a finding that says so.

    Returns
    -------
    SweepResults
        Every session of either frame has one row in ``measures``. Nothing raises on odd readings;
        a missing column raises ``models.frames.FrameError``.
    """
    missing = [n for n in schemas.SAMPLES.names[:4] if n not in samples.columns]
    if missing:
        schemas.SAMPLES.check(samples)
    known = contexts_of(schemas.CONTEXTS.check(contexts))
    ohm = frozenset(name for name, c in known.items() if c.channel == "ohm")
    return measure_read(read_samples(samples, ohm), known)


def measure_arrays(
    session_ids: list[str], bounds: np.ndarray, contexts: pd.DataFrame, **columns: np.ndarray
) -> SweepResults:
    """As :func:`measure_sweeps`, of sweeps laid one behind the other.

    Sweep i is at ``bounds[i]:bounds[i + 1]`` of each of the ``columns`` of SAMPLES.
    """
    known = contexts_of(schemas.CONTEXTS.check(contexts))
    ohm = [name in known and known[name].channel == "ohm" for name in session_ids]
    return measure_read(read_arrays(session_ids, bounds, ohm=np.array(ohm, bool), **columns), known)


def measure_read(read: Read, contexts: dict[str, Context]) -> SweepResults:
    """Measure sweeps already read into arrays; ``contexts`` by session id."""
    rows = Rows()
    measured = set(read.measurable.tolist())
    for i, name in enumerate(read.session_ids):
        if i not in measured:
            report_unmeasured(rows, name, read.readings[i], contexts.get(name))
    for name in contexts.keys() - set(read.session_ids):
        report_unmeasured(rows, name, None, contexts[name])
    for first, last in _batches(read.sweeps.bounds):
        names = [read.session_ids[i] for i in read.measurable[first:last]]
        readings = [read.readings[i] for i in read.measurable[first:last]]
        report_batch(rows, names, readings, read.sweeps.take(first, last), contexts)
    return SweepResults(
        **{
            name: schema.check(frame)
            for (name, frame), schema in zip(
                rows.frames().items(),
                (
                    schemas.MEASURES,
                    schemas.DROPOUTS,
                    schemas.PROFILE,
                    schemas.PASSES,
                    schemas.FINDINGS,
                ),
                strict=True,
            )
        }
    )


def measure_one(
    t_s: np.ndarray,
    signal: np.ndarray,
    *,
    channel: str = "volt",
    supply_v: float = np.nan,
    signal_b: np.ndarray | None = None,
    travel_pct: np.ndarray | None = None,
    output: str | None = None,
    track_ohm: float = np.nan,
    meter_load_ohm: float = np.nan,
) -> SweepResults:
    """Measure one sweep on plain arrays, each of shape (n,); its session id is ``sweep``."""
    arrays = {
        name: None if values is None else np.asarray(values, dtype=float)
        for name, values in (("signal_b", signal_b), ("travel_pct", travel_pct))
    }
    t_s, signal = np.asarray(t_s, dtype=float), np.asarray(signal, dtype=float)
    read = read_arrays(
        ["sweep"],
        np.array([0, t_s.size]),
        t_s=t_s,
        signal=signal,
        ohm=np.array([channel == "ohm"]),
        **arrays,
    )
    context = Context(channel, supply_v, output, None, None, meter_load_ohm, track_ohm)
    return measure_read(read, {"sweep": context})


def _batches(bounds: np.ndarray) -> Iterator[tuple[int, int]]:
    first, sweeps = 0, bounds.size - 1
    for last in range(1, sweeps + 1):
        if last == sweeps or bounds[last + 1] - bounds[first] > BATCH_SAMPLES:
            yield first, last
            first = last


__all__ = [
    "MEASURE_VERSION",
    "SweepResults",
    "Sweeps",
    "measure_arrays",
    "measure_one",
    "measure_read",
    "measure_sweeps",
]
