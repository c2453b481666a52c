"""The gate through which observed lives enter the risk models: one check, then plain arrays.

A life is seen from ``entry_km`` (left truncation), is known to be without the defect at
``good_km`` and, where a defect was found, with it at ``bad_km``: the defect came in
``(good_km, bad_km]``. ``bad_km == good_km`` says that its age is known exactly. The terms are those
of Klein & Moeschberger, Survival Analysis, 2nd ed. (2003), ch. 3.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from models.risk.assumed import ENTRY_AGES_KM, BetaPrior
from models.risk.delay import cut

COVARIATES = ("part_no", "duty", "repaired")
#: Known of some records only; blank where absent.
_OPTIONAL = ("shop_id", "km_per_day", "earlier_repairs", "entry_on", "good_on", "end_on")
#: Ages over which a sensor of unknown age is spread: enough for a smooth curve, few for speed.
ENTRY_AGE_COUNT = 7
_FEWEST_ENTRIES = 5


class LivesError(ValueError):
    """A life cannot have happened as recorded; the message names the row and the value."""


@dataclass(frozen=True)
class Rows:
    """Lives as rows of equal-length arrays.

    A life of unknown age stands in several rows, one for each age it may have had when first
    seen; ``weight`` holds their starting weights. Where the delay until a defect is heard of is
    used, a life also stands in a row for each piece of the window in which the defect may lie
    (``near`` to ``far`` km before the window's end, blank for other rows), and, if nothing was
    heard of it until its last contact, in one without a defect until then. ``times`` is how often
    the life counts; ``missed`` says that the last good test missed the defect,
    ``before`` that it was there at first sight (``models.risk.first_sight``). All ages in km.
    """

    entry: np.ndarray
    good: np.ndarray
    bad: np.ndarray
    life: np.ndarray
    unit: np.ndarray
    weight: np.ndarray
    near: np.ndarray
    far: np.ndarray
    heard: np.ndarray
    times: np.ndarray
    missed: np.ndarray
    before: np.ndarray

    @property
    def window(self) -> np.ndarray:
        """Which rows have a defect somewhere within a window of some width."""
        return self.bad > self.good

    @property
    def exact(self) -> np.ndarray:
        """Which rows have a defect at a known age."""
        return self.bad == self.good


class Overlap(NamedTuple):
    """Parts of spans of km in the cells of a grid: span number, cell number, km of it."""

    row: np.ndarray
    cell: np.ndarray
    km: np.ndarray


def checked_lives(windows: pd.DataFrame) -> pd.DataFrame:
    """Windows as numbers, with impossible ones refused.

    Raises
    ------
    LivesError
        A column is missing, an age is blank, negative or not finite, or the ages are out of order.
    """
    needed = ["unit_id", "age_known", "entry_km", "good_km", "bad_km", *COVARIATES]
    missing = [name for name in needed if name not in windows.columns]
    if missing:
        raise LivesError(f"lives: no column {', '.join(missing)}")
    lives = windows[needed].reset_index(drop=True)
    lives["life_id"] = _blank_where_absent(windows, "life_id", [str(k) for k in range(len(lives))])
    for name in _OPTIONAL:
        lives[name] = _blank_where_absent(windows, name, None)
    lives["times"] = _blank_where_absent(windows, "times", 1.0)
    lives["contact_km"] = _blank_where_absent(windows, "contact_km", np.nan)
    lives["end_km"] = _blank_where_absent(windows, "end_km", np.nan)
    lives["end_km"] = lives["end_km"].astype("float64")
    idle = pd.Series(_blank_where_absent(windows, "idle_complaints", 0), range(len(lives)))
    lives["idle_complaints"] = idle.astype("float64").fillna(0.0)
    lives["earlier_km"] = _blank_where_absent(windows, "earlier_km", np.nan)
    lives["earlier_km"] = lives["earlier_km"].astype("float64").clip(lower=lives["entry_km"])
    lives["road_failure"] = _flags(windows, "road_failure", False)
    lives["heard"] = _flags(windows, "heard", lives["road_failure"]) | lives["road_failure"]
    for name in ("entry_km", "good_km", "bad_km", "contact_km"):
        lives[name] = lives[name].astype("float64")
    _refuse(lives, ~(np.isfinite(lives.entry_km) & (lives.entry_km >= 0)), "entry_km", "0 or more")
    below = ~(np.isfinite(lives.good_km) & (lives.good_km >= lives.entry_km))
    _refuse(lives, below, "good_km", "at least entry_km")
    bad = lives.bad_km
    _refuse(lives, ~(bad.isna() | (np.isfinite(bad) & (bad >= lives.good_km))), "bad_km", "blank")
    return lives


def _blank_where_absent(windows: pd.DataFrame, name: str, blank: object) -> object:
    return windows[name].to_numpy() if name in windows.columns else blank


def _flags(windows: pd.DataFrame, name: str, blank: object) -> pd.Series:
    flags = pd.Series(_blank_where_absent(windows, name, pd.NA), range(len(windows)), "boolean")
    return flags.fillna(blank).astype(bool)


def last_known(lives: pd.DataFrame) -> pd.Series:
    """Age at which a life ended or was last heard from: finding, else contact or good test."""
    return lives["bad_km"].fillna(lives[["good_km", "contact_km"]].max(axis=1))


def with_doubts(windows: pd.DataFrame, shares: Mapping[str, BetaPrior]) -> pd.DataFrame:
    """Lives with an open doubt counted in part as a defect, in part as sound until that test.

    A test that pointed to a defect, answered by no repair, is neither an event nor a clean bill:
    were such lives only censored there, as many defects would be missing from the record as repairs
    are closed without a word. Each counts ``times`` = q as a defect found at that test and
    1 - q as a life in which nothing was found up to it, q being the learned share of such tests
    that prove right. Example: good at 20,000, failed at 26,000, replaced without a word, q = 0.9:
    0.9 lives with a defect in (20,000, 26,000] and 0.1 lives without one until 26,000.
    """
    plain = windows.assign(times=1.0)
    if "doubt_km" not in windows.columns:
        return plain
    q = windows["doubt_sign"].map({sign: share.mean for sign, share in shares.items()})
    split = (windows["doubt_km"].notna() & windows["bad_km"].isna() & q.notna()).astype(bool)
    some, q = plain[split], q[split].astype(float)
    found = some["doubt_km"].clip(lower=some["good_km"])
    defect = some.assign(times=q, bad_km=found, contact_km=np.nan, heard=some["doubt_heard"])
    sound = some.assign(times=1 - q, contact_km=found)
    return pd.concat([plain[~split], defect, sound], ignore_index=True)


def _refuse(lives: pd.DataFrame, wrong: pd.Series, name: str, expected: str) -> None:
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        also = " or at least good_km" if name == "bad_km" else ""
        raise LivesError(
            f"lives, row {row}: {name} is {lives[name].iloc[row]}, expected {expected}{also}"
        )


def found_on_entry(lives: pd.DataFrame) -> pd.Series:
    """Lives that already had the defect when first seen.

    A truncated life counts only from entry, and only if it was then without the defect, so these
    say nothing about the hazard after entry and are left out of the fit.
    """
    return lives["bad_km"].notna() & (lives["bad_km"] <= lives["entry_km"])


def thinned(lives: pd.DataFrame, most_survivors: int, *, seed: int = 0) -> pd.DataFrame:
    """All lives with a defect and at most so many of the others, drawn evenly and weighed up.

    A survivor says little by itself: what counts is how much was watched, which the weights
    (``times``) keep in the mean. Example: of 200,000 survivors 20,000 are drawn, each counting ten
    times.
    """
    survivors = np.flatnonzero(lives["bad_km"].isna())
    if len(survivors) <= most_survivors:
        return lives
    drawn = np.random.default_rng(seed).choice(survivors, most_survivors, replace=False)
    kept = np.sort(np.append(drawn, np.flatnonzero(lives["bad_km"].notna())))
    some = lives.iloc[kept].reset_index(drop=True)
    factor = np.where(some["bad_km"].isna(), len(survivors) / most_survivors, 1.0)
    return some.assign(times=some["times"] * factor)


def entry_ages(lives: pd.DataFrame, count: int = ENTRY_AGE_COUNT) -> np.ndarray:
    """Ages, equally likely, that a sensor of unknown age may have had when first seen.

    Quantiles of the age at which sensors of known age were first seen in use; where fewer than
    five were, quantiles of the ages watched (every km watched counts alike); where no age is known,
    the assumed ages.
    """
    known = lives[lives["age_known"].astype(bool)]
    middles = (np.arange(count) + 0.5) / count
    in_use = known.loc[known["entry_km"] > 0, "entry_km"]
    if len(in_use) >= _FEWEST_ENTRIES:
        return np.quantile(in_use, middles)
    end = known["bad_km"].fillna(known["good_km"])
    watched = end - known["entry_km"]
    if not watched.sum() > 0:
        return np.asarray(ENTRY_AGES_KM)
    steps = known["entry_km"].to_numpy()[:, None] + watched.to_numpy()[:, None] * middles
    by_age = np.argsort(steps, axis=None)
    share = np.cumsum(np.repeat(watched.to_numpy(), count)[by_age])
    return steps.ravel()[by_age][np.searchsorted(share, middles * share[-1])]


def rows_of(
    lives: pd.DataFrame,
    ages_at_entry: np.ndarray,
    *,
    delay_km: float | None = None,
    sensitivity: float = 1.0,
) -> Rows:
    """Rows for the fit: one for a life of known age, one for each possible age of the others.

    With ``delay_km``, the assumed mean delay until a defect is heard of, one more for each piece
    of the window in which a defect may lie (see ``Rows``). With a ``sensitivity`` below 1 the last
    good test may have missed the defect, which then came since ``earlier_km``, the good test before
    that one; two misses in a row, 1 in 100 at 0.9, are left out. Example: good at 20,000 and
    26,000, found at 31,000: a defect in (26,000, 31,000] weighs 1, in (20,000, 26,000] 0.1.
    """
    parts = _plain(lives) if delay_km is None else _with_pieces(lives, delay_km)
    some = _missed(lives, delay_km, 1.0 - sensitivity)
    early = _plain(lives).iloc[:0] if delay_km is None else _before(lives)
    kinds = np.repeat([0, 1, 2], [len(parts), len(some), len(early)])
    parts = pd.concat([parts, some, early], ignore_index=True)
    number = parts["life"].to_numpy()
    unknown = ~lives["age_known"].astype(bool).to_numpy()[number]
    copies = np.where(unknown, len(ages_at_entry), 1)
    part = np.repeat(np.arange(len(parts)), copies)
    turn = np.arange(len(part)) - np.repeat(np.cumsum(copies) - copies, copies)
    shift = np.where(unknown[part], ages_at_entry[turn % len(ages_at_entry)], 0.0)
    life = number[part]
    return Rows(
        entry=lives["entry_km"].to_numpy()[life] + shift,
        good=parts["good"].to_numpy()[part] + shift,
        bad=parts["bad"].to_numpy()[part] + shift,
        life=life,
        unit=pd.factorize(lives["unit_id"])[0][life],
        weight=parts["share"].to_numpy()[part] / copies[part],
        near=parts["near"].to_numpy()[part],
        far=parts["far"].to_numpy()[part],
        times=lives["times"].to_numpy(float)[life],
        heard=lives["heard"].to_numpy()[life] & lives["bad_km"].notna().to_numpy()[life],
        missed=kinds[part] == 1,
        before=kinds[part] == 2,
    )


def _plain(lives: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "life": np.arange(len(lives)),
            "good": lives["good_km"],
            "bad": lives["bad_km"],
            "near": np.nan,
            "far": np.nan,
            "share": 1.0,
        }
    )


def _missed(lives: pd.DataFrame, delay_km: float | None, share: float) -> pd.DataFrame:
    """A defect between the last two good tests, which the last one missed."""
    earlier, good = lives["earlier_km"].to_numpy(float), lives["good_km"].to_numpy()
    some = np.flatnonzero(earlier < good) if share > 0 else np.zeros(0, dtype=int)
    if delay_km is None:
        plain = _plain(lives).iloc[some]
        return plain.assign(good=earlier[some], bad=good[some], share=share)
    piece = cut(some, earlier[some], good[some], delay_km)
    until = (last_known(lives).to_numpy() - good)[piece.life]
    moved = piece._replace(near=piece.near + until, far=piece.far + until)
    frame = pd.DataFrame(moved._asdict()).rename(columns={"low": "good", "high": "bad"})
    return frame.assign(share=share)


def _before(lives: pd.DataFrame) -> pd.DataFrame:
    """With the defect at first sight, of lives in use then."""
    in_use = (lives["entry_km"] > 0) | ~lives["age_known"].astype(bool)
    in_use &= ~lives["repaired"].astype("boolean").fillna(False).astype(bool)
    return _plain(lives.assign(good_km=lives["entry_km"], bad_km=np.nan))[in_use]


def _with_pieces(lives: pd.DataFrame, delay_km: float) -> pd.DataFrame:
    """Sound until the last contact, or with the defect in a piece of the window before."""
    end, good = last_known(lives).to_numpy(), lives["good_km"].to_numpy()
    whole = _plain(lives.assign(good_km=np.where(lives["bad_km"].notna(), good, end)))
    whole = whole[lives["bad_km"].isna().to_numpy() | (end <= good)]
    piece = cut(np.arange(len(lives)), good, end, delay_km)
    pieces = pd.DataFrame(piece._asdict()).rename(columns={"low": "good", "high": "bad"})
    return pd.concat([whole, pieces.assign(share=1.0)], ignore_index=True)


def overlap(low: np.ndarray, high: np.ndarray, edges: np.ndarray) -> Overlap:
    """Cut spans ``(low, high]`` at the edges of a grid that covers them, in order of age."""
    first = cell_of(low, edges, from_below=False)
    last = np.maximum(cell_of(high, edges), first)
    counts = np.where(high > low, last - first + 1, 0)
    row = np.repeat(np.arange(len(low)), counts)
    cell = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
    km = np.minimum(high[row], edges[cell + 1]) - np.maximum(low[row], edges[cell])
    return Overlap(row, cell, np.maximum(km, 0.0))


def cell_of(age_km: np.ndarray, edges: np.ndarray, *, from_below: bool = True) -> np.ndarray:
    """Cell of each age; an age on an edge belongs to the cell below it, or above it."""
    cell = np.searchsorted(edges, age_km, side="left" if from_below else "right") - 1
    return np.clip(cell, 0, len(edges) - 2)
