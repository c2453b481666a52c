"""How a sensor wears: km to the defect, km to the road failure, where on the travel it sits.

The defect is the moment from which a sound bench test would find lift-offs. Its hazard is neither
Weibull nor the same for all: a few weak specimens fail early (log-normal), the rest wear out
(Weibull) at a pace set by duty and the bike's own frailty. Roughness comes first and grows towards
the defect; afterwards spots and lift-offs multiply until the sensor lets the rider down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.simulate.riding import Bike
from models.simulate.track import WornBand
from models.simulate.world import (
    CLEANED_LIFE,
    DUTIES,
    EARLY_SPREAD,
    FAILURE_DELAY,
    NOTICE_KM,
    ROUGH_FROM,
    ROUGH_OHM,
    Part,
)


@dataclass
class Spell:
    """One life of a sensor, from fitting or cleaning on. Odometer km throughout.

    defect_km, failure_km : onset of the defect, and when it lets the rider down, should nobody
        act; infinite for contactless parts. notice_km : when the rider notices something.
    band_pct, width_pct, offsets : where the track wears: centre, width, spots within (-1 to 1).
    rough_factor : how rough this specimen gets against the mean.
    ended_km, ended_by : filled in when the spell ends (``replaced``, ``cleaned``).
    """

    sensor: int
    spell_no: int
    start_km: float
    defect_km: float
    failure_km: float
    notice_km: float
    band_pct: float
    width_pct: float
    offsets: tuple[float, ...]
    rough_factor: float
    early: bool
    ended_km: float | None = None
    ended_by: str | None = None

    def severity(self, odometer_km: float) -> float:
        """Thousands of km since the defect, 0 while there is none."""
        return max(0.0, (odometer_km - self.defect_km) / 1000.0)

    def defective(self, odometer_km: float) -> bool:
        """Whether the defect is there."""
        return odometer_km >= self.defect_km


def draw_spell(
    rng: np.random.Generator, bike: Bike, part: Part, sensor: int, spell_no: int, start_km: float
) -> Spell:
    """Draw the hidden future of a sensor that is fitted, or cleaned (spell_no above 0)."""
    early = bool(rng.random() < part.early_share)
    life_km = _life_km(rng, bike, part, early)
    if spell_no > 0:
        life_km *= CLEANED_LIFE
    defect_km = start_km + life_km
    delay = float(rng.gamma(*FAILURE_DELAY))
    notice = float(rng.exponential(NOTICE_KM))
    width = float(rng.uniform(1.2, 5.0))
    return Spell(
        sensor=sensor,
        spell_no=spell_no,
        start_km=start_km,
        defect_km=defect_km,
        failure_km=defect_km + delay,
        notice_km=defect_km + notice,
        band_pct=_band_pct(rng, bike.duty),
        width_pct=width,
        offsets=tuple(rng.uniform(-0.9, 0.9, 5)),
        rough_factor=float(np.exp(0.35 * rng.standard_normal())),
        early=early,
    )


def _life_km(rng: np.random.Generator, bike: Bike, part: Part, early: bool) -> float:
    if not part.wears:
        return float("inf")
    if early:
        return float(part.early_km * np.exp(EARLY_SPREAD * rng.standard_normal()))
    pace = DUTIES[bike.duty].wear * bike.frailty ** (1.0 / part.life_shape)
    return float(part.life_km / pace * rng.weibull(part.life_shape))


def _band_pct(rng: np.random.Generator, duty: str) -> float:
    """Wear gathers where the throttle is held: a draw from the duty's dwell."""
    holds = DUTIES[duty].holds
    weights = np.array([weight for weight, _, _ in holds])
    _, centre, spread = holds[int(np.searchsorted(np.cumsum(weights), rng.random()))]
    return float(np.clip(centre + spread * rng.standard_normal(), 1.0, 99.0))


def rough_ohm(spell: Spell, odometer_km: float) -> float:
    """Scale of the contact-resistance grain in the worn band at an odometer reading."""
    if not np.isfinite(spell.defect_km):
        return 0.0
    way = (odometer_km - spell.start_km) / (spell.defect_km - spell.start_km)
    growth = max(0.0, (min(way, 1.0) - ROUGH_FROM) / (1.0 - ROUGH_FROM)) ** 1.3
    return ROUGH_OHM * spell.rough_factor * growth


def worn_band(spell: Spell, odometer_km: float) -> WornBand | None:
    """The worn band as the bench meets it, or None while the track is sound."""
    rough = rough_ohm(spell, odometer_km)
    severity = spell.severity(odometer_km)
    if rough <= 0.0:
        return None
    count = min(len(spell.offsets), 1 + int(severity / 1.2)) if spell.defective(odometer_km) else 0
    half = 0.5 * spell.width_pct
    spots = sorted(
        float(np.clip(spell.band_pct + half * o, 0.3, 99.7)) for o in spell.offsets[:count]
    )
    return WornBand(
        centre_pct=spell.band_pct,
        width_pct=spell.width_pct,
        rough_ohm=min(rough, 300.0),
        spots_pct=tuple(spots),
        lift_chance=min(0.95, 0.5 + 0.12 * severity),
    )
