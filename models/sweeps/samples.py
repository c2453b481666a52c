"""Readings as handed in, made ready to measure: usable samples in the order of time.

Nothing is dropped without being counted: every sweep comes with marks that say how many samples
were unreadable, repeated or out of order, and where the first of them stands.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

MIN_SAMPLES = 20  # fewer usable samples say nothing about a sweep
OVERLOAD_OHM = 1e7  # a meter's over-range reading on a track of some kilohm (common practice)
CHUNK = 50_000  # samples checked at a time: the scratch arrays stay in the cache
LATE_RUN = 8  # samples in a row that came late and are put back among the others
LATE_SHARE = 0.05  # a longer run, such as a packet, holds no greater share of the samples


@dataclass(frozen=True)
class Sweeps:
    """Sweeps laid one behind the other; sweep i occupies ``bounds[i]:bounds[i + 1]``.

    t_s : seconds, ascending within a sweep. signal : channel units. signal_b, travel_pct : may
    hold NaN, or be None where no sweep has them. sample_no : place in the sweep as handed in; None
    where all stand as handed in, counted from 0.
    """

    bounds: np.ndarray
    t_s: np.ndarray
    signal: np.ndarray
    sample_no: np.ndarray | None = None
    signal_b: np.ndarray | None = None
    travel_pct: np.ndarray | None = None

    def __len__(self) -> int:
        return self.bounds.size - 1

    def take(self, first: int, last: int) -> Sweeps:
        """Sweeps first to last - 1, as views."""
        part = slice(self.bounds[first], self.bounds[last])
        n, b, x = self.sample_no, self.signal_b, self.travel_pct
        return Sweeps(
            self.bounds[first : last + 1] - self.bounds[first],
            self.t_s[part],
            self.signal[part],
            None if n is None else n[part],
            None if b is None else b[part],
            None if x is None else x[part],
        )

    def numbers(self, places: np.ndarray) -> np.ndarray:
        """Sample numbers at places in the arrays."""
        if self.sample_no is not None:
            return self.sample_no[places]
        return places - self.bounds[np.searchsorted(self.bounds, places, side="right") - 1]

    def select(self, chosen: np.ndarray) -> Sweeps:
        """Some of the sweeps, copied."""
        return _gather(self, [slice(self.bounds[i], self.bounds[i + 1]) for i in chosen])


@dataclass(frozen=True)
class Mark:
    """One kind of trouble in one sweep: how many samples, and the first one's number."""

    name: str
    count: int
    first_sample_no: int


@dataclass(frozen=True)
class Reading:
    """One sweep read: what was handed in, what is usable, and the marks."""

    sample_count: int
    usable_count: int
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True)
class Read:
    """A batch read: session ids and readings of all, the usable sweeps of those with enough.

    measurable : for each sweep in ``sweeps``, its place among ``session_ids``.
    """

    session_ids: list[str]
    readings: list[Reading]
    sweeps: Sweeps
    measurable: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))


def read_samples(samples: pd.DataFrame, ohm_sessions: frozenset[str] = frozenset()) -> Read:
    """Read a SAMPLES frame.

    Parameters
    ----------
    samples : frame of ``models.sweeps.schemas.SAMPLES``
        Rows of a session together; if not, they are brought together in their order.
    ohm_sessions : session ids on the ohm channel
        There an infinite or over-range reading means an open wiper and is kept as
        ``OVERLOAD_OHM``; elsewhere it is unreadable.
    """
    codes, names = pd.factorize(samples["session_id"])
    columns = {
        name: samples[name].to_numpy(dtype=float, na_value=np.nan)
        for name in ("t_s", "signal", "signal_b", "travel_pct")
        if name in samples.columns
    }
    sample_no = samples["sample_no"].to_numpy(dtype=np.int64)
    if codes.size and np.any(np.diff(codes) < 0):
        order = np.argsort(codes, kind="stable")
        codes, sample_no = codes[order], sample_no[order]
        columns = {name: values[order] for name, values in columns.items()}
    bounds = np.searchsorted(codes, np.arange(len(names) + 1))
    session_ids = [str(name) for name in names]
    ohm = np.array([name in ohm_sessions for name in session_ids], dtype=bool)
    return read_arrays(session_ids, bounds, sample_no=sample_no, ohm=ohm, **columns)


def read_arrays(
    session_ids: list[str],
    bounds: np.ndarray,
    *,
    t_s: np.ndarray,
    signal: np.ndarray,
    sample_no: np.ndarray | None = None,
    signal_b: np.ndarray | None = None,
    travel_pct: np.ndarray | None = None,
    ohm: np.ndarray | None = None,
) -> Read:
    """Read sweeps laid one behind the other; clean ones are passed on without a copy."""
    bounds = np.asarray(bounds, dtype=np.int64)
    if ohm is not None and ohm.any():
        signal = _overload_kept(signal, np.repeat(ohm, np.diff(bounds)))
    clean = _clean(t_s, signal, bounds)
    if sample_no is None and not clean.all():
        sample_no = np.arange(t_s.size) - np.repeat(bounds[:-1], np.diff(bounds))
    whole = Sweeps(bounds, t_s, signal, sample_no, _or_none(signal_b), _or_none(travel_pct))
    readings, picks = [], []
    for i in range(len(whole)):
        begin, end = int(bounds[i]), int(bounds[i + 1])
        if clean[i]:
            readings.append(Reading(end - begin, end - begin))
            picks.append(slice(begin, end))
        else:
            part = slice(begin, end)
            keep, reading = read_one(t_s[part], signal[part], sample_no[part])
            readings.append(reading)
            picks.append(keep + begin)
    enough = np.array([r.usable_count >= MIN_SAMPLES for r in readings], dtype=bool)
    if clean.all() and enough.all():
        return Read(session_ids, readings, whole, np.arange(len(whole)))
    measurable = np.flatnonzero(enough)
    return Read(session_ids, readings, _gather(whole, [picks[i] for i in measurable]), measurable)


def read_one(
    t_s: np.ndarray, signal: np.ndarray, sample_no: np.ndarray
) -> tuple[np.ndarray, Reading]:
    """Places of one sweep's usable samples in order of time, and what was found on the way.

    Unreadable times or signals are left out. Of repeated times the first stands. Samples out of
    order are put back where their place is plain; where time starts again, only the longest
    unbroken stretch is used, since nobody can say how the stretches belong together.
    """
    marks = []

    def mark(name: str, bad: np.ndarray) -> None:
        if bad.any():
            marks.append(Mark(name, int(bad.sum()), int(sample_no[np.argmax(bad)])))

    bad_time, bad_signal = ~np.isfinite(t_s), ~np.isfinite(signal)
    mark("time_unreadable", bad_time)
    mark("signal_blank", np.isnan(signal))
    mark("signal_infinite", np.isinf(signal))
    keep = np.flatnonzero(~(bad_time | bad_signal))
    late = np.zeros(t_s.size, dtype=bool)
    if keep.size:
        late[keep] = t_s[keep] < np.maximum.accumulate(t_s[keep])
    mark("time_backwards", late)
    if not _has_a_place(t_s[keep], late[keep]):
        keep = _longest_rise(t_s, keep)
        mark("time_restarts", np.isin(np.arange(t_s.size), keep, invert=True) & late)
    keep = keep[np.argsort(t_s[keep], kind="stable")]
    again = np.zeros(t_s.size, dtype=bool)
    again[keep[1:]] = np.diff(t_s[keep]) <= 0
    mark("time_repeated", again)
    keep = keep[~again[keep]]
    return keep, Reading(t_s.size, keep.size, tuple(marks))


def _has_a_place(t_s: np.ndarray, late: np.ndarray) -> bool:
    """Whether all late samples can be put back: few in a row, or a packet that fills a gap whole.

    A clock set back gives a long run too, but its times fall among those of other samples.
    """
    edge = np.flatnonzero(np.diff(late.astype(np.int8), prepend=0, append=0))
    for begin, end in zip(edge[::2], edge[1::2], strict=True):
        run = t_s[begin:end]
        if run.size <= LATE_RUN:
            continue
        among = t_s[(t_s >= run[0]) & (t_s <= run[-1])]
        mixed = np.any(np.diff(run) <= 0) or np.unique(among).size > run.size
        if mixed or run.size > LATE_SHARE * t_s.size:
            return False
    return True


def _longest_rise(t_s: np.ndarray, keep: np.ndarray) -> np.ndarray:
    breaks = np.flatnonzero(np.diff(t_s[keep]) < 0) + 1
    return max(np.split(keep, breaks), key=len)


def _overload_kept(signal: np.ndarray, ohm: np.ndarray) -> np.ndarray:
    over = ohm & (signal >= OVERLOAD_OHM)
    return np.where(over, OVERLOAD_OHM, signal) if over.any() else signal


def _or_none(values: np.ndarray | None) -> np.ndarray | None:
    """An all-blank column is no column."""
    if values is None or values.size == 0 or (np.isnan(values[0]) and np.isnan(values).all()):
        return None
    return values


def _clean(t_s: np.ndarray, signal: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    """Whether each sweep has only readable samples and strictly ascending times."""
    if t_s.size == 0:
        return np.zeros(bounds.size - 1, dtype=bool)
    places = [np.zeros(0, dtype=np.int64)]
    for begin in range(0, t_s.size, CHUNK):
        t, y = t_s[begin : begin + CHUNK + 1], signal[begin : begin + CHUNK]
        finite, rises = np.isfinite(y), t[1:] > t[:-1]
        if not finite.all():
            places.append(begin + np.flatnonzero(~finite))
        falls = begin + 1 + np.flatnonzero(~rises)
        places.append(falls[bounds[np.searchsorted(bounds, falls)] != falls])
    clean = np.diff(bounds) > 0
    clean[np.searchsorted(bounds, np.concatenate(places), side="right") - 1] = False
    # Beside a time that is no number none rises; an infinite one can rise at a sweep's ends alone.
    filled = np.flatnonzero(clean)
    clean[filled] = np.isfinite(t_s[bounds[filled]]) & np.isfinite(t_s[bounds[filled + 1] - 1])
    return clean


def _gather(whole: Sweeps, picks: list) -> Sweeps:
    def laid(values: np.ndarray | None) -> np.ndarray | None:
        if values is None:
            return None
        return np.concatenate([values[p] for p in picks]) if picks else values[:0]

    sample_no = laid(whole.sample_no)
    sizes = [p.stop - p.start if isinstance(p, slice) else p.size for p in picks]
    return Sweeps(
        np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        laid(whole.t_s),
        laid(whole.signal),
        sample_no,
        laid(whole.signal_b),
        laid(whole.travel_pct),
    )
