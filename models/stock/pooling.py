"""Parts passed between shops before any is ordered, where both owners allow it.

As many parts as possible change shops: a maximum flow from the shops that have more than they need
to those that lack some (Ford & Fulkerson 1956, by scipy). Whole parts stay whole in it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components, maximum_flow

from models.stock.schemas import STOCK_TRANSFERS, TRANSFERS_ALLOWED


def transfers(
    groups: pd.DataFrame, lacking: np.ndarray, spare: np.ndarray, allowed: pd.DataFrame
) -> pd.DataFrame:
    """Parts to pass between shops so that as few as possible are still lacking.

    Parameters
    ----------
    groups : frame of shape (n, ...)
        ``shop_id``, ``part_no``.
    lacking, spare : arrays of whole numbers, shape (n,)
        Parts that a shop lacks, and parts that it can give and still have what it needs.
    allowed : frame
        TRANSFERS_ALLOWED: which shop may give to which.

    Returns
    -------
    STOCK_TRANSFERS
    """
    pairs = set(TRANSFERS_ALLOWED.check(allowed).itertuples(index=False, name=None))
    found = []
    if pairs:
        for part_no, rows in groups.groupby("part_no", sort=True):
            at = rows.index.to_numpy()
            flow = _most(rows["shop_id"].tolist(), lacking[at], spare[at], pairs)
            shops = rows["shop_id"].to_numpy()
            found += [
                (part_no, shops[i], shops[j], int(flow[i, j])) for i, j in np.argwhere(flow > 0)
            ]
    return STOCK_TRANSFERS.check(pd.DataFrame(found, columns=STOCK_TRANSFERS.names))


def _most(
    shops: Sequence[str], lacking: np.ndarray, spare: np.ndarray, pairs: set[tuple[str, str]]
) -> np.ndarray:
    """Parts passed from shop i to shop j, shape (n, n)."""
    n = len(shops)
    edges = np.zeros((2 * n + 2, 2 * n + 2), dtype=np.int32)
    edges[0, 1 : n + 1] = spare
    edges[n + 1 : -1, -1] = lacking
    for i, giver in enumerate(shops):
        for j, taker in enumerate(shops):
            if i != j and (giver, taker) in pairs:
                edges[1 + i, 1 + n + j] = min(spare[i], lacking[j])
    flow = maximum_flow(csr_matrix(edges), 0, 2 * n + 1).flow.toarray()
    return np.maximum(flow[1 : n + 1, n + 1 : -1], 0)


def pools(groups: pd.DataFrame, allowed: pd.DataFrame) -> list[np.ndarray]:
    """Rows of ``groups`` that can share one stock: one part, shops linked both ways or in turn."""
    pairs = TRANSFERS_ALLOWED.check(allowed)
    shops = sorted({*groups["shop_id"], *pairs["from_shop"], *pairs["to_shop"]})
    at = pd.Index(shops)
    links = csr_matrix(
        (
            np.ones(len(pairs)),
            (at.get_indexer(pairs["from_shop"]), at.get_indexer(pairs["to_shop"])),
        ),
        shape=(len(shops), len(shops)),
    )
    _, of_shop = connected_components(links, directed=True, connection="strong")
    pool = of_shop[at.get_indexer(groups["shop_id"])]
    found = groups.groupby([groups["part_no"], pool]).indices.values()
    return [rows for rows in found if len(rows) > 1]
