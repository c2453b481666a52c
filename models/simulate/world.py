"""The invented world: parts, models, duties, shops and fleets, with every assumed constant.

Nothing here is measured. The figures are chosen to be physically plausible (a few kilohm of
track, 5 V of supply, riding of a few thousand to some tens of thousands of km a year) and to make
a history in which something can be learnt; names of places, makes and parts are invented.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

FIRST_DAY = dt.date(2021, 1, 1)  # day 0 of the history
AS_OF = dt.date(2026, 10, 31)  # the demo's fixed "today"
LAST_DAY = (AS_OF - FIRST_DAY).days
UTC_OFFSET_H = 1
DEFAULT_BIKES = 160
DEFAULT_SEED = 20261031


@dataclass(frozen=True)
class Part:
    """A part number: what the catalogue says, and how such sensors wear (all assumed).

    closed_fraction, open_fraction : nominal output at the stops as fractions of supply.
    life_km, life_shape : Weibull scale and shape of the km to a defect at duty factor 1.
    early_share, early_km : share of weak specimens and their median km to a defect.
    """

    part_no: str
    description: str
    output: str
    closed_fraction: float
    open_fraction: float
    life_km: float
    life_shape: float
    early_share: float
    early_km: float
    track_ohm: float
    unit_price: float
    lead_time_days: int
    pack_size: int = 1
    kind: str = "potentiometer"
    tracks: int = 1
    replaced_by: str | None = None
    supply_ends_on: dt.date | None = None
    maker_closed_v: tuple[float, float] | None = None
    maker_open_v: tuple[float, float] | None = None

    @property
    def wears(self) -> bool:
        """Contactless parts have no track to wear."""
        return self.kind == "potentiometer"


PARTS = {
    part.part_no: part
    for part in (
        Part(
            "QK-1140", "rotary sensor, open frame", "rising", 0.110, 0.860,
            62_000.0, 2.2, 0.08, 9_000.0, 4700.0, 96.0, 12,
            replaced_by="QK-1140S", supply_ends_on=dt.date(2024, 2, 29),
            maker_closed_v=(0.45, 0.65), maker_open_v=(4.05, 4.50),
        ),
        Part(
            "QK-1140S", "rotary sensor, sealed, replaces QK-1140", "rising", 0.112, 0.858,
            85_000.0, 2.8, 0.04, 11_000.0, 4700.0, 109.0, 12,
            maker_closed_v=(0.45, 0.65), maker_open_v=(4.05, 4.50),
        ),
        Part(
            "LN-72", "rotary sensor, falling output", "falling", 0.855, 0.125,
            74_000.0, 2.5, 0.05, 10_000.0, 5200.0, 131.0, 21, pack_size=2,
        ),
        Part(
            "MT-208", "two-track sensor for throttle by wire", "rising", 0.150, 0.840,
            96_000.0, 3.0, 0.03, 12_000.0, 3900.0, 214.0, 28, tracks=2,
        ),
        Part(
            "FX-9", "contactless sensor for throttle by wire", "rising", 0.100, 0.900,
            0.0, 1.0, 0.0, 0.0, 0.0, 248.0, 35, kind="contactless",
        ),
    )
}  # fmt: skip
SECOND_TRACK_SHARE = 0.5  # the second track of a two-track part gives half the first's output


@dataclass(frozen=True)
class Model:
    """A bike model: where its sensors sit and which part it left the works with."""

    code: str
    part_no: str
    mounts: tuple[str, ...] = ("throttle",)


MODELS = {
    model.code: model
    for model in (
        Model("sedge-125", "QK-1140"),
        Model("sedge-250", "QK-1140"),
        Model("marram-650", "LN-72"),
        Model("teasel-900", "LN-72", ("throttle_left", "throttle_right")),
        Model("bracken-450", "QK-1140S"),
        Model("saltwort-1100", "MT-208", ("grip_a",)),
        Model("yarrow-800", "FX-9", ("grip_a",)),
    )
}


@dataclass(frozen=True)
class Duty:
    """How bikes of a duty are ridden (all assumed).

    km_per_day : median of the daily average; km_spread its log spread over bikes.
    season : strength of summer over winter, 0 none to 1 laid up in winter.
    wear : wear per km against a factor of 1 (small corrections at part throttle wear most).
    holds : (weight, centre, spread) of where the throttle is held, per cent of travel.
    """

    km_per_day: float
    km_spread: float
    season: float
    wear: float
    holds: tuple[tuple[float, float, float], ...]


DUTIES = {
    "commute": Duty(19.0, 0.35, 0.20, 1.00, ((0.75, 17.0, 5.0), (0.25, 34.0, 8.0))),
    "tour": Duty(15.0, 0.40, 0.75, 0.70, ((0.25, 15.0, 5.0), (0.75, 36.0, 5.0))),
    "courier": Duty(82.0, 0.20, 0.05, 1.25, ((0.6, 12.0, 4.0), (0.3, 27.0, 6.0), (0.1, 3.0, 1.5))),
    "training": Duty(40.0, 0.20, 0.30, 1.70, ((0.8, 7.0, 2.5), (0.2, 20.0, 5.0))),
    "hire": Duty(34.0, 0.30, 0.60, 1.05, ((0.5, 22.0, 7.0), (0.4, 40.0, 9.0), (0.1, 96.0, 2.5))),
    "offroad": Duty(8.0, 0.40, 0.35, 2.40, ((0.5, 30.0, 12.0), (0.5, 72.0, 10.0))),
}


@dataclass(frozen=True)
class Shop:
    """A workshop and its bench: the logger it owns and how many technicians it has.

    stamp_s : the step to which the logger writes its times.
    """

    shop_id: str
    name: str
    bay_hours_per_day: float
    technicians: int
    bits: int
    noise_v: float
    pull_down_ohm: float
    timestamps: str = "even"
    stamp_s: float = 1e-4


SHOPS = {
    shop.shop_id: shop
    for shop in (
        Shop("brackenford", "Brackenford Workshop", 8.0, 3, 12, 0.0016, 100_000.0),
        Shop("lower-ferry", "Lower Ferry Garage", 6.5, 2, 12, 0.0024, 100_000.0),
        Shop("tollgate", "Tollgate Street Bikes", 12.0, 3, 10, 0.0020, 120_000.0),
        Shop("copperhill", "Copperhill Depot", 5.0, 1, 14, 0.0030, 82_000.0, "jittered", 1e-3),
    )
}


@dataclass(frozen=True)
class Shortage:
    """A part number that its supplier cannot deliver to some shops for a while (assumed).

    Jobs that need it stay open, the bike stands, and what is on order comes on the day of the
    delivery.
    """

    part_no: str
    shop_ids: tuple[str, ...]
    first_day: dt.date
    delivery_day: dt.date

    def holds_up(self, part_no: str, shop_id: str, day: dt.date) -> bool:
        """Whether a shop that needs the part on a day has to wait for the delivery."""
        short = part_no == self.part_no and shop_id in self.shop_ids
        return short and self.first_day <= day < self.delivery_day


SHORTAGE = Shortage(
    "QK-1140S", ("tollgate", "copperhill"), dt.date(2026, 9, 1), dt.date(2026, 11, 20)
)


@dataclass(frozen=True)
class Group:
    """A fleet, or the private bikes of a shop.

    share : part of all bikes. service_days : mean days between visits; test_chance : chance that
    a routine visit includes a bench test. keeps_km : fleet bikes are retired near this odometer.
    lost_per_year : chance a year that a bike is not seen again. autumn_check : whether every bike
    is tested once each September or October, before the wet months.
    """

    fleet_id: str | None
    shop_id: str
    share: float
    duties: tuple[tuple[str, float], ...]
    models: tuple[tuple[str, float], ...]
    service_days: float
    test_chance: float
    keeps_km: float | None
    lost_per_year: float
    called_in_chance: float
    autumn_check: bool = False


_PRIVATE = (("commute", 0.55), ("tour", 0.33), ("offroad", 0.12))
_STREET = (
    ("sedge-125", 0.16), ("sedge-250", 0.22), ("marram-650", 0.27), ("teasel-900", 0.11),
    ("bracken-450", 0.10), ("saltwort-1100", 0.09), ("yarrow-800", 0.05),
)  # fmt: skip
GROUPS = (
    Group("harrow-parcel", "tollgate", 0.20, (("courier", 1.0),),
          (("sedge-125", 0.35), ("sedge-250", 0.65)), 118.0, 0.60, 120_000.0, 0.0, 0.9, True),
    Group("copperhill-school", "copperhill", 0.13, (("training", 1.0),),
          (("sedge-125", 0.6), ("bracken-450", 0.4)), 165.0, 0.48, 90_000.0, 0.0, 0.9, True),
    Group("ferry-hire", "lower-ferry", 0.15, (("hire", 1.0),),
          (("marram-650", 0.5), ("saltwort-1100", 0.3), ("yarrow-800", 0.2)),
          195.0, 0.42, 70_000.0, 0.0, 0.85, True),
    Group(None, "brackenford", 0.24, _PRIVATE, _STREET, 240.0, 0.46, None, 0.035, 0.45),
    Group(None, "lower-ferry", 0.16, _PRIVATE, _STREET, 250.0, 0.44, None, 0.04, 0.40),
    Group(None, "tollgate", 0.12, _PRIVATE, _STREET, 250.0, 0.44, None, 0.04, 0.40),
)  # fmt: skip

# Wear, faults and people: chances and scales used by ``wear`` and ``visits`` (all assumed).
FRAILTY_SHAPE = 4.0  # gamma frailty of a bike, mean 1: vibration, dust, washing, rider
EARLY_SPREAD = 0.6  # log spread of the km to a defect of weak specimens
FAILURE_DELAY = (1.6, 3200.0)  # gamma shape and scale of the km from defect to road failure
NOTICE_KM = 9000.0  # mean km from a defect until the rider notices it, short of a failure
CLEANED_LIFE = 0.35  # a cleaned sensor's next life against a new one's
ROUGH_FROM = 0.55  # share of the way to the defect at which roughness sets in
ROUGH_OHM = 190.0  # its scale at the defect
LEAD_KM = 170_000.0  # mean km between plug or lead faults
LEAD_NOTICE_KM = 2500.0  # mean km until one is noticed
OTHER_KM = 230_000.0  # mean km between complaints whose cause lies elsewhere
