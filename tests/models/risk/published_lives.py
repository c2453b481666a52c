"""Published lifetimes used as checks, typed in with their source."""

from __future__ import annotations

import numpy as np
import pandas as pd

#: NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.2.1 and 8.4.1.2, "multicensored" Weibull
#: example: 20 units on test, hours, test stopped at 500.
NIST_FAILED = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)
NIST_RUNNING = (500,) * 10

#: Freireich et al., Blood 21 (1963) 699: weeks of remission under 6-MP; the worked Kaplan-Meier
#: example of Klein & Moeschberger, Survival Analysis (2003), table 4.1.
REMISSION_WEEKS = (6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35)
REMISSION_ENDED = (1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0)
REMISSION_SURVIVAL = {
    6: 0.8571,
    7: 0.8067,
    10: 0.7529,
    13: 0.6902,
    16: 0.6275,
    22: 0.5378,
    23: 0.4482,
}

#: Krivtsov & Case, SAE Technical Paper 1999-01-3220, as shipped by the `reliability` package
#: (Datasets.automotive, 0.8.16): miles.
AUTOMOTIVE_FAILED = (5248, 7454, 16890, 17200, 38700, 45000, 49390, 69040, 72280, 131900)
AUTOMOTIVE_RUNNING = (
    *(3961, 4007, 4734, 6054, 7298, 10190, 23060, 27160, 28690, 37100, 40060),
    *(45670, 53000, 67000, 69630, 77350, 78470, 91680, 105700, 106300, 150400),
)

#: Modarres, Kaminskiy & Krivtsov, Reliability Engineering and Risk Analysis, 3rd ed., example 2.31,
#: as shipped by the `reliability` package (Datasets.mileage, 0.8.16): miles.
MILEAGE_FAILED = (
    *(32797, 47119, 33532, 55627, 11538, 34107, 26704, 9979, 10014, 22159, 37603, 26830, 25210),
    *(16946, 30368, 24571, 43665, 55269, 29760, 17438, 16768, 43154, 22418, 14525, 52448, 28968),
    *(32628, 31388, 26252, 31565, 15261, 20269, 14318, 19938, 32231, 44404, 32176, 42911, 18318),
    *(37623, 38071, 35589, 44264, 20588, 25746, 28109, 29807, 16735, 28688, 22532, 39485, 25056),
    *(28127, 29015, 10539, 41821, 49436, 37752, 43939, 27322, 26713, 35390, 40902, 22456, 35138),
    *(27837, 28219, 21293, 31084, 27037, 45283, 16651, 27300, 36837, 21075, 27836, 47590, 21248),
    *(21757, 17861, 25754, 32677, 29180, 28185, 22374, 41267, 33703, 36258, 30935, 49432, 41064),
    *(27812, 28433, 36531, 45554, 8734, 32914, 28172, 26208, 24993),
)


def lives(entry, good, bad, **others) -> pd.DataFrame:
    """Windows of one part on as many bikes as lives, ages in whatever unit the source uses."""
    n = len(good)
    names = [f"S{i}" for i in range(n)]
    columns = {
        "life_id": names,
        "sensor_id": names,
        "unit_id": names,
        "part_no": "P",
        "duty": None,
        "repaired": False,
        "age_known": True,
        "entry_km": entry,
        "good_km": good,
        "bad_km": bad,
        "road_failure": False,
    }
    return pd.DataFrame(columns | others).astype({"entry_km": float, "duty": "str"})


def exact_lives(failed, running=(), entry=0.0) -> pd.DataFrame:
    """Lives whose end is known exactly: good and bad at the same age."""
    good = np.array([*failed, *running], dtype=float)
    bad = np.array([*failed, *[np.nan] * len(running)], dtype=float)
    return lives(entry, good, bad)
