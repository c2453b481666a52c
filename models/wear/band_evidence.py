"""How well each shape of a worn band fits what was seen, summed over its strengths.

A *shape* is a place and a width of ``band_grid``; its strengths are the drop-outs a pass and the
roughening that a band may have.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.wear.band_grid import LEVELS, ROUGHENINGS, band_grid
from models.wear.by_row import by_row
from models.wear.seen import Seen


class BandChances(NamedTuple):
    """What is taken of bands before a sensor's own tests.

    level, rough, width : chances of ``LEVELS``, ``ROUGHENINGS`` and ``WIDTHS_PCT``. stray_rate :
    drop-outs a pass and bin that are no wear. grain, own_grain : variance of a sound bin's log
    roughness, and the share of it that comes back at every test.
    """

    level: np.ndarray
    rough: np.ndarray
    width: np.ndarray
    stray_rate: float
    grain: float
    own_grain: float


def level_terms(
    seen: Seen, chances: BandChances, share: np.ndarray | float = 1.0
) -> list[np.ndarray]:
    """Log prior and likelihood ratio of each level, a table (n, G) each.

    ``share`` : what each drop-out and pass counts for.
    """
    spread = band_grid().spread.astype(np.float32)
    y, e = (seen.counts * share).astype(np.float32), (seen.exposure * share).astype(np.float32)
    reached, prior = by_row(e, spread.T), np.log(chances.level).astype(np.float32)
    out = []
    for k, level in enumerate(LEVELS.astype(np.float32)):
        out.append(by_row(y, np.log1p(level / np.float32(chances.stray_rate) * spread).T))
        out[-1] += prior[k] - level * reached
    return out


def rough_terms(seen: Seen, chances: BandChances) -> list[np.ndarray]:
    """Log prior and likelihood ratio of each roughening, a table (n, G) each.

    A sound bin's roughness is log-normal: its upper tail is heavier than a gamma's.
    A track's own grain comes back at every test: many tests say little more than one.
    """
    envelope = band_grid().envelope.astype(np.float32)
    n = seen.n_rough.astype(np.float32)
    worth = chances.grain * (1.0 - chances.own_grain + chances.own_grain * np.maximum(n, 1.0))
    r, n = (seen.rough / worth).astype(np.float32), (n / worth).astype(np.float32)
    prior = np.log(chances.rough).astype(np.float32)
    out = []
    for k, height in enumerate(ROUGHENINGS.astype(np.float32)):
        log = np.log1p(height * envelope)
        out.append(prior[k] + by_row(r, log.T) - by_row(n, (0.5 * log**2).T))
    return out


def shape_terms(
    seen: Seen, chances: BandChances, by_level: np.ndarray, by_rough: np.ndarray
) -> np.ndarray:
    """Log of prior times likelihood ratio of every shape, shape (n, G); nothing-there left out.

    ``by_level``, ``by_rough`` : summed over levels and roughenings, shape (n, G).
    """
    both, none = by_level + by_rough, chances.level[0] * chances.rough[0]
    nothing = np.exp(np.minimum(np.log(none) - both, 0.0))
    both += np.log1p(-np.minimum(nothing, 1 - 1e-6)) - np.log1p(-none)
    prior = seen.prior[:, :, None] * chances.width.astype(np.float32)
    return both + np.log(prior).reshape(both.shape)


def log_sum(terms: list[np.ndarray]) -> np.ndarray:
    """Log of the sum of exponentials of some tables, element by element."""
    top = terms[0]
    for term in terms[1:]:
        top = np.maximum(top, term)
    return top + np.log(sum(np.exp(term - top) for term in terms))
