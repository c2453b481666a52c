"""What each factor of a chance holds: a sensor's own values, and the middle ones of its part.

With them the chances of sensors of which some factors are at their own values and the others at the
middle ones, a sign in the last test left out.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from models.risk.growth import WearGrowth
from models.risk.now import unsigned_chances
from models.risk.score import RiskResults
from models.risk.states import near_km, near_view

FACTORS = ("age", "riding", "repair", "test", "silence", "reading", "sign")
#: Which factors are at a sensor's own values, in the order of FACTORS; the sign stands last.
Choice = tuple[bool, ...]
#: Log chances of a sensor and a choice, see ``unsigned_layers``.
LAYERS = 3
_READING = FACTORS.index("reading")
#: Rows worked out at a time, a row being one sensor under one choice of factors.
_ROWS_AT_ONCE = 20_000
_FEWEST_OF_PART = 5
_MIDDLE_KM = ("age_now_km", "since_test", "since_contact")
#: Values of the middle sensor that differ from part to part.
MIDDLE = (*_MIDDLE_KM, "in_view")

#: Values that each factor holds; the reading is none of them.
COLUMNS = {
    "age": ("age_now_km", "age_known"),
    "riding": ("duty", "shop_id", "km_per_day"),
    "repair": ("repaired", "since_entry", "earlier_repairs"),
    "test": ("since_test",),
    "silence": ("since_contact", "in_view"),
    "sign": ("since_last_test", "last_verdict", "last_conclusion"),
}


def own_values(sensors: pd.DataFrame, in_view: np.ndarray) -> pd.DataFrame:
    """What each factor holds, ages put as km before now, so that they can be exchanged singly."""
    age = sensors["age_now_km"]
    return pd.DataFrame(
        {
            "age_now_km": age,
            "age_known": sensors["age_known"],
            "duty": sensors["duty"],
            "shop_id": sensors["shop_id"],
            "km_per_day": sensors["km_per_day"],
            "earlier_repairs": sensors["earlier_repairs"],
            "repaired": sensors["repaired"],
            "since_entry": age - sensors["entry_km"],
            "since_test": age - sensors["good_km"],
            "since_contact": age - sensors["contact_km"],
            "in_view": in_view,
            "since_last_test": age - sensors["last_test_km"],
            "last_verdict": sensors["last_verdict"],
            "last_conclusion": sensors["last_conclusion"],
            "last_band": sensors["last_band"],
            "now_on": sensors["now_on"],
        }
    )


def middle_values(sensors: pd.DataFrame, in_view: np.ndarray) -> pd.DataFrame:
    """Those of the middle sensor of each one's part, see ``models.risk.explain``."""
    values = own_values(sensors, in_view)
    part = sensors["part_no"]
    middle = values.copy()
    many = part.map(part.value_counts()).ge(_FEWEST_OF_PART)
    for name in MIDDLE:
        of_all = values[name].median()
        of_part = values.groupby(part)[name].transform("median")
        middle[name] = of_part.where(many, of_all).fillna(of_all)
    return middle.assign(
        age_known=True,
        duty=None,
        shop_id=None,
        km_per_day=np.nan,
        earlier_repairs=0,
        repaired=False,
        since_entry=np.inf,
        since_last_test=np.nan,
        last_verdict=None,
        last_conclusion=None,
    )


def near_middle(middle: pd.DataFrame, step: float) -> pd.DataFrame:
    """Middle values to the nearest step."""
    return middle.assign(
        **{name: near_km(middle[name], step) for name in _MIDDLE_KM},
        in_view=near_view(middle["in_view"]),
    )


def last_scores(
    sensors: pd.DataFrame, readings: pd.DataFrame | None, growth: WearGrowth | None
) -> np.ndarray:
    """Normal score of each sensor's last reading, blank where readings do not count."""
    if readings is None or growth is None:
        return np.full(len(sensors), np.nan)
    return growth.last_scores(sensors, readings)


def unsigned_layers(
    results: RiskResults,
    sensors: pd.DataFrame,
    gaps_km: np.ndarray,
    own: pd.DataFrame,
    middle: pd.DataFrame,
    km: tuple[float, ...],
    horizon_km: float,
    choices: list[tuple[bool, ...]],
) -> np.ndarray:
    """Log chances with the chosen factors at each sensor's own values, others at the middle ones.

    Parameters
    ----------
    results : RiskResults
        Of the sensors.
    sensors, own, middle : frames of shape (n, ...)
        Columns of ``SENSORS_NOW``, and the values of each from ``own_values``, ``middle_values``.
    gaps_km : array of shape (n, 3)
        See ``defect_chances``.
    km : tuple of float
        Km ahead that bound the cells summed over, the first 0.
    horizon_km : float
        One of these.
    choices : list
        Which factors but the sign are at a sensor's own values, many worked out at a time.

    Returns
    -------
    array of shape (n, LAYERS * choices): of each choice no defect now, none over the horizon, and
    the silence since the last test, were it defective then.
    """
    size = max(1, _ROWS_AT_ONCE // len(choices))
    parts: dict[tuple[bool, ...], list[np.ndarray]] = {key: [] for key in choices}
    ahead = km.index(horizon_km)
    for start in range(0, len(sensors), size):
        some = slice(start, start + size)
        rows = (frame.iloc[some].reset_index(drop=True) for frame in (sensors, own, middle))
        block = _Block(results, *rows, gaps_km[some], km, ahead)
        for read in (False, True):
            block.work_out([key for key in choices if key[_READING] == read], parts)
    return np.hstack([np.vstack(part) for part in parts.values()])


class _Block(NamedTuple):
    """Some sensors, their own values and the middle ones, one a row."""

    results: RiskResults
    sensors: pd.DataFrame
    own: pd.DataFrame
    middle: pd.DataFrame
    gaps_km: np.ndarray
    km: tuple[float, ...]
    ahead: int

    def work_out(
        self, choices: list[tuple[bool, ...]], parts: dict[tuple[bool, ...], list[np.ndarray]]
    ) -> None:
        """Append to ``parts`` the log chances for each choice of factors, a sign left out.

        All choices leave the reading out, or none does.
        """
        if not choices:
            return
        frame, moved_km, in_view = self._under(choices)
        settings = self.results.settings
        log_ok, silence = unsigned_chances(
            self.results.model,
            frame,
            horizons_km=self.km,
            sensitivity=settings["sensitivity"],
            in_view=in_view,
            wear_readings=settings["wear_readings"],
            growth=settings["growth"] if choices[0][_READING] else None,
            moved_km=moved_km,
            gaps_km=np.tile(self.gaps_km, (len(choices), 1)),
        )
        layers = np.column_stack([log_ok[:, 0], log_ok[:, self.ahead], silence])
        for chosen, layer in zip(choices, np.split(layers, len(choices)), strict=True):
            parts[chosen].append(layer)

    def _under(self, choices: list[Choice]) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
        """The sensors under one choice after another.

        With them by how much their ages are moved, and ``in_view``.
        """
        n, chosen = len(self.sensors), np.array(choices)
        every = np.tile(np.arange(n), len(choices))
        mixed = {}
        for name, columns in COLUMNS.items():
            # a sign is laid over later: its test is the sensor's own
            own = chosen[:, FACTORS.index(name)] if name != "sign" else np.ones(len(choices), bool)
            place = every + n * np.repeat(own, n)
            for column in columns:
                both = pd.concat([self.middle[column], self.own[column]], ignore_index=True)
                mixed[column] = both.take(place).reset_index(drop=True)
        age = mixed["age_now_km"]
        entry = (age - mixed["since_entry"]).clip(lower=0.0)
        taken = ("age_now_km", "age_known", *COLUMNS["riding"], "repaired", "earlier_repairs")
        frame = self.sensors.take(every).reset_index(drop=True)
        frame = frame.assign(
            **{name: mixed[name] for name in taken},
            entry_km=entry,
            good_km=(age - mixed["since_test"]).clip(lower=entry),
            contact_km=(age - mixed["since_contact"]).clip(lower=entry),
            last_test_km=age - mixed["since_last_test"],
        )
        moved_km = age.to_numpy(float) - self.own["age_now_km"].to_numpy(float)[every]
        return frame, moved_km, mixed["in_view"].to_numpy(float)
