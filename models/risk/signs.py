"""Signs of a defect in a sensor's last test: which one counts, and how far it is right."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from models.risk.assumed import SIGN_PRIORS, WORN_BAND, BetaPrior

#: A sign in a test outweighs the curve: the curve may move its odds by this factor at most.
MOST_ODDS_SHIFT = 3.0
_TINY = 1e-12


def sign_of(sensors_now: pd.DataFrame, shares: Mapping[str, BetaPrior]) -> pd.Series:
    """The sign of each sensor's last test that most often proves right; blank where none.

    Beside any of them a worn band that the sweep shows by itself is the sign: it tells wear of the
    track from a fault of the lead and from a technician's caution.
    """
    shown = pd.DataFrame(
        {
            sign: (sensors_now["last_verdict"].eq(sign) | sensors_now["last_conclusion"].eq(sign))
            for sign in sorted(shares, key=lambda name: shares[name].mean)
        }
    ).fillna(False)
    sign = pd.Series(None, index=sensors_now.index, dtype="object")
    for name in shown.columns:
        sign[shown[name].astype(bool)] = name
    if WORN_BAND in shares and "last_band" in sensors_now.columns:
        worn = sensors_now["last_band"].astype("boolean").fillna(False).to_numpy(dtype=bool)
        sign[sign.notna() & worn] = WORN_BAND
    return sign


def learned_shares(
    followed_up: pd.DataFrame | None, priors: Mapping[str, BetaPrior] = SIGN_PRIORS
) -> dict[str, BetaPrior]:
    """Share of each sign's tests that prove to be a defect: assumed prior updated by counts.

    Only tests that were followed up count; were those chosen because they looked worse, the share
    is too high for the rest, which no count can show.

    Parameters
    ----------
    followed_up : frame of shape (signs, ...), or None
        Columns of ``FOLLOWED_UP``.
    priors : mapping of str to BetaPrior
        Assumed share of each sign.

    Raises
    ------
    ValueError
        A sign without a prior, or more confirmed than followed up.
    """
    shares = dict(priors)
    if followed_up is None:
        return shares
    for sign, total, confirmed in followed_up[["sign", "followed_up", "confirmed"]].itertuples(
        index=False
    ):
        if sign not in shares:
            raise ValueError(f"followed_up: sign is {sign!r}, expected one of {sorted(shares)}")
        if not 0 <= confirmed <= total:
            raise ValueError(
                f"followed_up: {sign}: confirmed is {confirmed}, expected 0 to {total}"
            )
        shares[sign] = shares[sign].after(float(confirmed), float(total - confirmed))
    return shares


def with_sign(log_ok: np.ndarray, q: np.ndarray, silence: np.ndarray) -> np.ndarray:
    """Log chance of no defect of all sensors that show one sign; see ``defect_chances``.

    Parameters
    ----------
    log_ok : array of shape (draws, n, horizons)
        The same without the sign, the first horizon being now.
    q : array of shape (draws,)
        Share of the sign's tests that prove to be a defect.
    silence : array of shape (draws, n)
        Log chance of the silence since that test.
    """
    now = np.clip(-np.expm1(np.minimum(log_ok[:, :, 0], 0.0)), _TINY, 1 - _TINY)
    shift = logit(now) - logit(now.mean(axis=1, keepdims=True))
    limit = np.log(MOST_ODDS_SHIFT)
    prior = logit(np.clip(q, _TINY, 1 - _TINY))[:, None]
    ok_now = np.log(expit(-(prior + np.clip(shift, -limit, limit) + silence)))
    return ok_now[:, :, None] + log_ok - log_ok[:, :, :1]
