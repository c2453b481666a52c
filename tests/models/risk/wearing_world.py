"""The hidden rules of a simulated fleet: how sensors wear, how tests read, how records err.

Everything is assumed. A ``World`` is a setting; ``drawn_wear`` draws its wear constants anew for
each seed, so that no model can know them; only the informed ceiling is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

CURVES = ("weibull", "early", "bathtub", "loglogistic")
#: Depth of the roughness at the defect against the floor of sound sensors' readings.
CLARITY = {"weak": 0.75, "clear": 1.6}
FLOOR_PCT = 0.04
#: Days from 1970-01-01 to the day on which simulated records end, a 16 February.
TODAY = 20_500
_AGES = np.arange(0.0, 300_001.0, 250.0)
_LOG_AGES = np.linspace(np.log(10.0), np.log(5e6), 4_000)


@dataclass(frozen=True)
class World:
    """A setting. Km throughout; shares and chances 0 to 1.

    curve : shape of the hazard: Weibull; Weibull with early weak specimens (log-normal, whatever
        the duty); bathtub; log-logistic. readings : how much roughness readings tell.
    frailty_shape : gamma shape of the bikes' frailty, mean 1. delay_km, delay_shape : gamma km from
        the defect until it is heard of. share_in_use : bikes whose sensors were in use when first
        seen, at ages up to oldest_entry_km, none of them without the chance of a silent defect if
        silent_at_entry. visit_km : km between visits; test_chance : tests per visit. other_km :
        mean km between complaints of another cause that lead to a test. wear_complaints_km : mean
        km between complaints of a sensor rough enough to fail; infinite: riders do not feel it.
    season : effect of mid January on the log hazard, against the year's mean (that of mid July is as
    great the other way); None: without, and records are not dated. The informed ceiling is not told.
    lost_chance : chance that a private bike is not seen again after a contact. wrong_odometer,
    rounded_odometer : share of readings that are wrong (but in order), rounded to 100 km.
    """

    curve: str = "early"
    readings: str = "weak"
    scale_km: float = 65_000.0
    parts: int = 5
    duties: int = 4
    group_sd: float = 0.3
    frailty_shape: float = 4.0
    delay_km: float = 5_000.0
    delay_shape: float = 1.0
    sensitivity: float = 0.9
    two_sensors: float = 0.25
    share_in_use: float = 0.5
    oldest_entry_km: float = 60_000.0
    silent_at_entry: bool = True
    share_unknown: float = 0.2
    share_private: float = 0.5
    share_retired: float = 0.1
    watch_km: tuple[float, float] = (5_000.0, 60_000.0)
    visit_km: float = 4_000.0
    test_chance: float = 0.6
    other_km: float = 80_000.0
    wear_complaints_km: float = np.inf
    lost_chance: float = 0.04
    blank_sweep: float = 0.35
    wrong_odometer: float = 0.03
    rounded_odometer: float = 0.3
    season: float | None = None


#: Half of the tests follow symptoms: fewer at visits, more from complaints, among them such of
#: roughness before the defect, so that tests crowd where sensors are near it.
SYMPTOMS = World(test_chance=0.25, other_km=28_000.0, wear_complaints_km=2_500.0)


class Begun(NamedTuple):
    """Days on which sensors were new, and days a km of their bikes; both of one shape."""

    day: np.ndarray
    days_per_km: np.ndarray


def seasonal(day: np.ndarray) -> np.ndarray:
    """Time of the year: 1 on 15 January, -1 in mid July."""
    return np.cos(2 * np.pi * (day - 14.0) / 365.25)


@dataclass(frozen=True)
class Wear:
    """Wear constants of one fleet; see ``drawn_wear`` for their spread.

    Cumulative hazard at ratio 1 is that of ``curve``; a share ``early_share`` of specimens has a
    log-normal life instead. Roughness is ``floor_pct`` x noise until the share ``rough_from`` of
    the way to the defect, then grows by ``depth_pct`` x the specimen's factor.
    """

    curve: str
    shape: float
    scale_km: float
    early_share: float
    early_km: float
    early_sd: float
    part_ratio: np.ndarray
    duty_ratio: np.ndarray
    shop_ratio: np.ndarray
    riding_power: float
    frailty_shape: float
    delay_km: float
    delay_shape: float
    sensitivity: float
    rough_from: float
    rough_power: float
    floor_pct: float
    depth_pct: float
    factor_sd: float
    noise_sd: float
    check_sound: float
    check_worn: float
    season: float | None = None

    def cumulative(self, age_km: np.ndarray) -> np.ndarray:
        """Cumulative hazard of those that wear out, at ratio 1."""
        x = np.asarray(age_km, dtype=float) / self.scale_km
        if self.curve == "loglogistic":
            return np.log1p(x ** (self.shape + 0.6))
        if self.curve == "bathtub":
            return 0.25 * x**0.5 + 0.8 * x ** (self.shape + 1.5)
        return x**self.shape

    def early_survival(self, age_km: np.ndarray) -> np.ndarray:
        """Survival of the weak specimens (log-normal)."""
        from scipy.special import ndtr

        age = np.maximum(np.asarray(age_km, dtype=float), 1e-9)
        return ndtr(-np.log(age / self.early_km) / self.early_sd)

    def survival(self, age_km: np.ndarray, ratio: np.ndarray | float) -> np.ndarray:
        """Share without a defect by an age; ``ratio`` holds part, duty, shop, riding, frailty."""
        worn = np.exp(-self.cumulative(age_km) * ratio)
        if self.early_share == 0:
            return worn
        return (1 - self.early_share) * worn + self.early_share * self.early_survival(age_km)

    def draw_lives(
        self, rng: np.random.Generator, ratio: np.ndarray, begun: Begun | None = None
    ) -> np.ndarray:
        """Ages at the defect, by season where it is told when the sensors were new."""
        level = np.log(self.cumulative(np.exp(_LOG_AGES)))
        worn = np.interp(np.log(rng.exponential(size=ratio.shape) / ratio), level, _LOG_AGES)
        early = np.log(self.early_km) + self.early_sd * rng.standard_normal(ratio.shape)
        weak = rng.random(ratio.shape) < self.early_share
        defect = np.exp(np.where(weak, early, worn))
        return defect if begun is None else self._by_season(defect, weak, begun)

    def _by_season(self, defect_km: np.ndarray, weak: np.ndarray, begun: Begun) -> np.ndarray:
        """Ages at which the hazard gathered by season is what it was without at the defect."""
        middle, steps, totals = (_AGES[1:] + _AGES[:-1]) / 2, {}, {}
        early = -np.log(np.maximum(self.early_survival(_AGES), 1e-300))
        for kind, total in ((True, early), (False, self.cumulative(_AGES))):
            totals[kind], steps[kind] = total, np.diff(total)
        result = defect_km.copy()
        for at in zip(*np.nonzero(defect_km < _AGES[-1]), strict=True):
            kind = bool(weak[at])
            factor = np.exp(self.season * seasonal(begun.day[at] + begun.days_per_km[at] * middle))
            seasoned = np.append(0.0, np.cumsum(steps[kind] * factor))
            reached = np.interp(defect_km[at], _AGES, totals[kind])
            result[at] = np.interp(reached, seasoned, _AGES)
        return result

    def growth(self, way: np.ndarray) -> np.ndarray:
        """Roughness against that at the defect, by share of the way to it."""
        gone = (np.minimum(way, 1.0) - self.rough_from) / (1.0 - self.rough_from)
        return np.maximum(gone, 0.0) ** self.rough_power

    def growth_km(self, age_km: np.ndarray, defect_km: np.ndarray) -> np.ndarray:
        """Integral of the growth over age, from 0 to ``age_km``, at most to the defect."""
        gone = (np.minimum(age_km / defect_km, 1.0) - self.rough_from) / (1.0 - self.rough_from)
        whole = defect_km * (1.0 - self.rough_from) / (self.rough_power + 1.0)
        return whole * np.maximum(gone, 0.0) ** (self.rough_power + 1.0)

    def age_at_growth_km(self, growth_km: np.ndarray, defect_km: np.ndarray) -> np.ndarray:
        """Age at which the integral reaches a value; infinite where the defect comes before."""
        whole = defect_km * (1.0 - self.rough_from) / (self.rough_power + 1.0)
        gone = (growth_km / whole) ** (1.0 / (self.rough_power + 1.0))
        age = defect_km * (self.rough_from + (1.0 - self.rough_from) * gone)
        return np.where(gone < 1.0, age, np.inf)


def drawn_wear(world: World, seed: int) -> Wear:
    """The wear constants of one fleet, drawn anew for each seed."""
    rng = np.random.default_rng([seed, 17])

    def about(value: float, log_sd: float) -> float:
        return float(value * np.exp(log_sd * rng.standard_normal()))

    floor = about(FLOOR_PCT, 0.2)
    return Wear(
        curve=world.curve,
        shape=about(2.2, 0.12),
        scale_km=about(world.scale_km, 0.15),
        early_share=float(rng.uniform(0.05, 0.12)) if world.curve == "early" else 0.0,
        early_km=about(9_000.0, 0.2),
        early_sd=0.6,
        part_ratio=np.exp(world.group_sd * rng.standard_normal(world.parts)),
        duty_ratio=np.exp(world.group_sd * rng.standard_normal(world.duties)),
        shop_ratio=np.exp(0.1 * rng.standard_normal(4)),
        riding_power=float(0.15 * rng.standard_normal()),
        frailty_shape=world.frailty_shape,
        delay_km=about(world.delay_km, 0.3),
        delay_shape=world.delay_shape,
        sensitivity=float(np.clip(world.sensitivity + rng.uniform(-0.05, 0.05), 0, 1)),
        rough_from=float(rng.uniform(0.45, 0.65)),
        rough_power=float(rng.uniform(1.0, 1.6)),
        floor_pct=floor,
        depth_pct=about(floor * CLARITY[world.readings], 0.15),
        factor_sd=0.35,
        noise_sd=float(rng.uniform(0.35, 0.45)),
        check_sound=0.03,
        check_worn=0.10,
        season=world.season,
    )
